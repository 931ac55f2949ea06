"""The architecture picture of DEVELOPERS.md, drawn from the imports.

`python -m deploy.tools.architecture` writes it between its two markers. With `--check` it writes
nothing, and the exit code is 1 where the picture is out of date.
"""

from __future__ import annotations

import ast
import sys
import textwrap
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from graphlib import TopologicalSorter
from pathlib import Path

import grimp

ROOT = Path(__file__).resolve().parents[2]
DOCUMENT = ROOT / "DEVELOPERS.md"
BEGIN = "<!-- architecture: python -m deploy.tools.architecture writes this -->"
END = "<!-- architecture ends -->"
PACKAGES = ("api", "deploy", "results", "rigs")
WIDTH = 96
INDENT = 18


@dataclass(frozen=True)
class Architecture:
    """What each room imports from, and what each is for."""

    imports: Mapping[str, frozenset[str]]
    purposes: Mapping[str, str]

    @property
    def arrows(self) -> int:
        """How many pairs of rooms there are of which one imports from the other."""
        return sum(map(len, self.imports.values()))

    def floors(self) -> dict[str, int]:
        """The floor of each room: 1 without imports, else one above the highest it imports from.

        Raises ``graphlib.CycleError``, which names the rooms, where there is a circle.
        """
        floors: dict[str, int] = {}
        for room in TopologicalSorter(self.imports).static_order():
            floors[room] = 1 + max((floors[below] for below in self.imports[room]), default=0)
        return floors


def main(arguments: list[str]) -> int:
    """Write the picture, or check it; the exit code."""
    document = DOCUMENT.read_text()
    current = with_picture(document, picture(architecture()))
    if "--check" not in arguments:
        DOCUMENT.write_text(current)
        return 0
    if current == document:
        return 0
    print("The architecture picture is out of date: python -m deploy.tools.architecture")
    return 1


def architecture() -> Architecture:
    """The rooms as the code has them today."""
    graph = grimp.build_graph(*PACKAGES, cache_dir=None)
    modules = [module for module in graph.modules if "migrations" not in module.split(".")]
    imports: dict[str, set[str]] = {}
    for module in modules:
        imported = graph.find_modules_directly_imported_by(module)
        found = imports.setdefault(room_of(module), set())
        found |= {room_of(each) for each in imported} - {room_of(module), "results"}
    del imports["results"]  # the package itself, which holds nothing but its rooms
    return Architecture(
        {room: frozenset(of) for room, of in imports.items()},
        {room: _purpose(room) for room in imports},
    )


def room_of(module: str) -> str:
    """The room of a module: a part of ``results``, or the whole of another package."""
    package, *inner = module.split(".")
    return ".".join([package, inner[0]]) if package == "results" and inner else package


def picture(of: Architecture) -> str:
    """Every room by floor, the highest first, with its purpose and the rooms it imports from."""
    floors = of.floors()
    lines = [
        f"{len(floors)} rooms on {max(floors.values())} floors, {of.arrows} arrows (>), all of "
        "which point to a lower floor.",
        "A name alone is a room of results; api, deploy and rigs are one room each.",
    ]
    for floor in range(max(floors.values()), 0, -1):
        lines.append("")
        on_it = [room for room in floors if floors[room] == floor]
        for room in sorted(on_it, key=_short):
            lines += _drawn(f"{floor:>2}  {_short(room)}", of.purposes[room])
            if of.imports[room]:
                lines += _drawn("", "> " + " ".join(sorted(map(_short, of.imports[room]))))
    return "\n".join(lines)


def with_picture(document: str, drawn: str) -> str:
    """The document with this picture between its markers. Raises ValueError without them."""
    before, _, rest = document.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not end:
        raise ValueError(f"The document lacks the lines {BEGIN!r} and {END!r}.")
    return f"{before}{BEGIN}\n\n```text\n{drawn}\n```\n\n{END}{after}"


def _drawn(name: str, text: str) -> Iterable[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=name.ljust(INDENT),
        subsequent_indent=" " * (INDENT + 2 * text.startswith("> ")),
        break_long_words=False,
        break_on_hyphens=False,
    )


def _short(room: str) -> str:
    return room.removeprefix("results.")


def _purpose(room: str) -> str:
    """The first line of the docstring of a package or module, which is read and not imported."""
    path = ROOT.joinpath(*room.split("."))
    source = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
    text = ast.get_docstring(ast.parse(source.read_text())) or ""
    return text.partition("\n")[0]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
