"""Which knockon this is; the package takes its version from here."""

VERSION = "0.1.0"
