"""Lint for plain words: find words, docstrings and names that docs/words.md replaces.

Run as ``python .ci/plain_words.py [PATH ...]``. Without a path it checks every tracked file. A line that ends with the
comment ``words: ok`` is left out. ``--count`` prints one line for each rule instead of each hit. Exit code 1 if anything
is found.
"""

from __future__ import annotations

import argparse
import ast
import re
import subprocess
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ALL = (".py", ".html", ".js", ".md")
PYTHON = (".py",)
TEMPLATES = (".html",)
SKIPPED = re.compile(r"(^|/)migrations/|\.lock$|^docs/words\.md$|^\.ci/plain_words\.py$")
MAX_SENTENCE_WORDS = 40


@dataclass(frozen=True, slots=True)
class Rule:
    """A pattern that must not occur, and what to write instead."""

    name: str
    pattern: re.Pattern[str]
    instead: str
    suffixes: tuple[str, ...] = ALL
    below: str = ""


def _rule(name: str, pattern: str, instead: str, suffixes: tuple[str, ...] = ALL, below: str = "") -> Rule:
    return Rule(name, re.compile(pattern), instead, suffixes, below)


RULES = (
    _rule("told", r"(?<![A-Za-z])told(?![a-z])", "data, shown, notified"),
    _rule("says", r"\b(says|said)\b", "states, shows, returns"),
    _rule("docstring", r'"""(What|Who|Whose|Whether|Where|Why|When|How)\b', "begin with a verb or a noun", PYTHON),
    _rule("alike", r"\balike\b", "equal, similar, the same"),
    _rule("somebody", r"\b(somebody|nobody|everybody|whoever)\b", "a user, no user, all, anyone who"),
    _rule("is wanted", r"\b(is|are) wanted\b", "Enter …, required"),
    _rule("won't do", r"\bwon't do\b", "is not valid"),
    _rule("is no", r"(?<![Tt]here )\bis no (?!longer|more|such)[a-z]+", "is not a …"),
    _rule("mend", r"\bmend(s|ed|ing)?\b", "fix, correct"),
    _rule("hindrance", r"\bhindrances?\b", "reason"),
    _rule("anew", r"\banew\b", "again"),
    _rule("nought", r"\bnoughts?\b", "zero"),
    _rule("reckon", r"\breckon(s|ed|ing)?\b", "calculate"),
    _rule("nevertheless", r"\b(nevertheless|meanwhile)\b", "anyway, in the meantime"),
    _rule("this once", r"\bthis once\b", "only once"),
    _rule("door", r"\b[Dd]oors?(step)?\b", "API, views, access"),
    _rule("deed", r"\b(deeds?|nudge[sd]?|bury)\b", "action, run soon, mark failed"),
    _rule("knock", r"\bknocks?\b", "request"),
    _rule("spoken", r"\bspoken\b", "committed"),
    _rule("wall", r"\b[Ww]alls?\b", "constraint, foreign key", ALL, "shared/"),
    _rule("throw away", r"\b[Tt]hr(ow|own|ew) (\S+ ){0,3}away\b", "delete, discard"),
    _rule(
        "take in",
        r"\b[Tt]ak(e|es|en|ing) (it |them |this |some )?(in|out|away|up)\b(?! account)",
        "import, remove, restore",
    ),
    _rule("let in", r"\b(let|lets|letting) (it |them )?(in|go)\b", "give access, release"),
    _rule("lies there", r"\b(lie|lies) (there|in|here|alike)\b", "is in stock"),
    _rule("as it stands", r"\bas (it|they) stands?\b", "current"),
    _rule("as it was", r"\bas (it|they) (was|were)\b", "unchanged"),
    _rule("so many", r"\bso (many|much)\b(?! (as|that))", "a number, an amount"),
    _rule("built so", r'\b(built|build it|made|begun|closed|decided) so\b[.,;:)<"]', "this way"),
    _rule("count in", r"\b[Cc]ount(ed)? (it|a \w+) in\b", "receive, record"),
    _rule("to be had", r"\bto be had\b", "available"),
    _rule("word on", r"\bword (on|about)\b", "response"),
    _rule(
        "participle class",
        r"^class _?(Told|Said|Wanted|Asked|Answered|Known|Kept|Drawn|Moved|Offered|Chosen|Bought|Sold|Found|Seen|Laid|Listed"
        r"|Loaded|Counted|Packed|Placed|Printed|Priced|Quoted|Relaxed|Sawn|Taxed|Written)\b",
        "a noun",
        PYTHON,
    ),
    _rule(
        "participle function",
        r"^\s*def _?(told|said|wanted|asked|kept|found|meant|typed|written|stored|named|known|taken|moved|settled|tell|again"
        r"|once)\(",
        "a verb and its object",
        PYTHON,
    ),
    _rule("MOST_", r"\b_?(MOST|LEAST)(_[A-Z0-9_]+)?\b", "MAX_, MIN_"),
    _rule("for one in", r"\bfor one in\b", "name the item"),
    _rule("button", r"<button[^>]*>\s*(Keep|End|Show)\b", "Save, Revoke, Apply", TEMPLATES),
    _rule("badge", r">(Look|Not kept|Look for)\b", "Note, Not saved, Search", TEMPLATES),
)


@dataclass(frozen=True, slots=True)
class Hit:
    """A place that breaks a rule."""

    path: str
    line: int
    rule: str
    text: str
    instead: str


def tracked_files(paths: list[str]) -> list[str]:
    """Return the tracked files below the given paths, or all of them."""
    listed = subprocess.run(["git", "ls-files", "--", *paths], capture_output=True, text=True, check=True).stdout
    return [
        path for path in listed.splitlines() if path.endswith(ALL) and not SKIPPED.search(path) and Path(path).exists()
    ]


def check_lines(path: str, text: str) -> Iterator[Hit]:
    """Yield each line that matches a rule."""
    rules = [rule for rule in RULES if path.endswith(rule.suffixes) and path.startswith(rule.below)]
    for number, line in enumerate(text.splitlines(), 1):
        if "words: ok" in line:
            continue
        for rule in rules:
            found = rule.pattern.search(line)
            if found:
                yield Hit(path, number, rule.name, found.group(0).strip(), rule.instead)


def check_sentences(path: str, text: str) -> Iterator[Hit]:
    """Yield each sentence of a Markdown text that is longer than 40 words, outside tables, lists of code and code blocks."""
    prose = re.sub(r"```.*?```", "", text, flags=re.DOTALL)
    for paragraph in re.split(r"\n\s*\n|\n(?=\s*(?:[-*#|]|\d+\.) )", prose):
        if paragraph.lstrip().startswith("|"):
            continue
        for sentence in re.split(r"(?<=[.!?:;])\s", paragraph):
            if len(sentence.split()) > MAX_SENTENCE_WORDS:
                line = text[: text.find(sentence)].count("\n") + 1
                yield Hit(path, line, "long sentence", sentence[:60], "split it")


def check_class_names(sources: dict[str, str]) -> Iterator[Hit]:
    """Yield each class whose name a class of another module has too. A justified exception is marked on its line."""
    places: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for path, text in sources.items():
        lines = text.splitlines()
        for node in ast.parse(text).body:
            if not isinstance(node, ast.ClassDef) or node.name in ("Meta", "Command"):
                continue
            if "words: ok" not in lines[node.lineno - 1]:
                places[node.name].append((path, node.lineno))
    for name, found in sorted(places.items()):
        if len(found) > 1:
            others = ", ".join(path for path, _ in found[1:])
            yield Hit(*found[0], "same class name", name, f"add the owner to the name; also in {others}")


def check(paths: list[str]) -> list[Hit]:
    """Return every hit in the tracked files below the paths."""
    hits: list[Hit] = []
    sources: dict[str, str] = {}
    for path in tracked_files(paths):
        text = Path(path).read_text(encoding="utf-8")
        hits += check_lines(path, text)
        if path.endswith(".md"):
            hits += check_sentences(path, text)
        if path.endswith(".py") and not path.startswith("tests/"):
            sources[path] = text
    return [*hits, *check_class_names(sources)]


def main() -> int:
    """Print the hits; return 1 if there are any."""
    parser = argparse.ArgumentParser(description="Find words that docs/words.md replaces.")
    parser.add_argument("paths", nargs="*")
    parser.add_argument("--count", action="store_true", help="print one line for each rule")
    options = parser.parse_args()
    hits = check(options.paths)
    if options.count:
        for rule, count in Counter(hit.rule for hit in hits).most_common():
            print(f"{count:5} {rule}")
    else:
        for hit in hits:
            print(f"{hit.path}:{hit.line}: {hit.text!r} ({hit.rule}): {hit.instead}")
    return 1 if hits else 0


if __name__ == "__main__":
    sys.exit(main())
