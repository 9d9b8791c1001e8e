"""The nearest valid name for a wrong one, and what to offer where no name is near."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from types import MappingProxyType

FEW = 24
SHORT = 3  # a shorter wrong word is near to too many ids to be a slip of one of them


def nearest(wrong: str, names: Iterable[str]) -> str:
    """The closest name, or '' when none is close enough to be a likely slip."""
    import difflib

    names, wrong = sorted(set(names)), wrong[:80]
    plain = wrong.strip().lower().replace("-", "_").replace(" ", "_")
    if plain in names:
        return plain
    swapped = [name for name in names if sorted(name) == sorted(wrong)]
    found = difflib.get_close_matches(wrong, names, n=1, cutoff=0.75) or swapped
    return found[0] if found else ""


def titled(names: Collection[str]) -> dict[str, str]:
    """Ids with the words a person says for them; an id without a title stands for itself."""
    if not isinstance(names, Mapping):
        return {n: n for n in names if n}
    return {n: str(v if isinstance(v, str) else getattr(v, "title", n)) for n, v in names.items() if n}


def called(names: Collection[str]) -> dict[str, tuple[str, ...]]:
    """Ids with the other words the trade has for them; only those that have some."""
    if not isinstance(names, Mapping):
        return {}
    return {n: also for n, v in names.items() if (also := tuple(getattr(v, "also", ())))}


def fitting(
    text: str, titles: Mapping[str, str], also: Mapping[str, tuple[str, ...]] = MappingProxyType({})
) -> list[str]:
    """The ids of which one name (id and title, or another word for it) holds every word, in whatever order."""
    words = text.lower().replace("_", " ").split()
    spoken = {id_: (f"{title} {id_}", *also.get(id_, ())) for id_, title in titles.items()}
    return [
        id_
        for id_, names in spoken.items()
        if words and any(all(word in name.lower() for word in words) for name in names)
    ]


def exactly(text: str, titles: Mapping[str, str], also: Mapping[str, tuple[str, ...]]) -> list[str]:
    """The ids whose title or other word is just this; more than one where they share it."""
    word = " ".join(text.lower().replace("_", " ").split())
    return [id_ for id_, title in titles.items() if word in (n.lower() for n in (title, *also.get(id_, ())))]


def offer(wrong: str, names: Collection[str], what: str) -> tuple[str, str]:
    """For a wrong name: the one that is meant, or else a next step that shows what there is."""
    titles, also = titled(names), called(names)
    if not titles:
        return "", f"these packs have no {what} at all"
    said = exactly(wrong, titles, also)
    sure = len(wrong) >= SHORT or len(titles) > FEW
    hint = said[0] if len(said) == 1 else nearest(wrong, titles) if sure and not said else ""
    fit = said or fitting(wrong, titles, also) if sure and not hint else []
    if hint or len(fit) == 1:
        return hint or fit[0], ""
    shown = fit if 0 < len(fit) <= FEW // 2 else list(titles) if len(titles) <= FEW else []
    if not shown:
        return "", f"docs/words.md lists every {what}"
    return "", f"one of: {', '.join(_with_title(id_, titles[id_]) for id_ in shown)}"


def _with_title(id_: str, title: str) -> str:
    return id_ if title.lower() == id_.replace("_", " ") else f"{id_} ({title})"
