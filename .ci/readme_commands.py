"""Print the two commands at the top of the README, one a line, as they would be pasted."""

import re
import sys
from pathlib import Path

text = Path(sys.argv[1]).read_text("utf-8")
for block in re.findall(r"^```sh\n(.*?)^```", text, flags=re.S | re.M)[:2]:
    lines = [line for line in block.splitlines() if line.strip() and not line.startswith("#")]
    print(" ".join(line.rstrip("\\").strip() for line in lines))
