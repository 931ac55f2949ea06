"A pseudo-language: every marked message as an accented copy of itself, compiled by Python alone."

from __future__ import annotations

import gettext
import re
import struct
from collections.abc import Iterable
from pathlib import Path

import allauth
import django

from tests.translation.marked import Message

LANGUAGE = "eo"
"""Django writes its numbers with a decimal comma and its days as no other language does."""
PLAIN = "abcdefghijklmnoprstuvwyzABCDEFGHIJKLMNOPRSTUVWYZ"
MARKED = "áƀçđéƒĝĥíĵķĺḿñóṕŕšţúṽŵýžÁƁÇĐÉƑĜĤÍĴĶĹḾÑÓṔŔŠŢÚṼŴÝŽ"
ACCENTS = str.maketrans(PLAIN, MARKED)
KEPT = re.compile(r"(%\(\w+\)[sd]|%[sd%]|\{\w*\}|<[^>]*>|&\w+;)")
HEADER = "Content-Type: text/plain; charset=UTF-8\nPlural-Forms: nplurals=2; plural=(n != 1);\n"
FRAMEWORKS = (
    Path(django.__file__).parent / "conf",
    *(Path(django.__file__).parent / "contrib" / name for name in ("admin", "auth", "humanize")),
    Path(allauth.__file__).parent,
)


def accented(text: str) -> str:
    """The text with every letter marked; placeholders, elements and entities as they are."""
    parts = KEPT.split(text)
    parts[::2] = [part.translate(ACCENTS) for part in parts[::2]]
    return "".join(parts)


def messages_of_frameworks() -> Iterable[Message]:
    """What Django and allauth say, by one of the catalogues that they bring."""
    for folder in FRAMEWORKS:
        path = folder / "locale" / "de" / "LC_MESSAGES" / "django.mo"
        if path.exists():
            with path.open("rb") as kept:
                catalogue = gettext.GNUTranslations(kept)._catalog  # type: ignore[attr-defined]
            for key in catalogue:
                yield (key,) if isinstance(key, str) else (key[0], key[0])


def compiled(messages: Iterable[Message], folder: Path) -> Path:
    """Write the catalogue below ``folder``, which is one of LOCALE_PATHS then.

    The binary form of GNU gettext's manual, section 10.3: a header, tables of lengths and places,
    and the texts, those of the messages sorted.
    """
    told = {message[0]: message for message in sorted(messages) if message[0]}
    texts = {b"": HEADER.encode()}
    for message in told.values():
        key, value = "\0".join(message), "\0".join(map(accented, message))
        texts[key.encode()] = value.encode()
    keys = sorted(texts)
    start = 28 + 16 * len(keys)
    table_of_keys, table_of_values, body = b"", b"", b""
    for table, parts in (("keys", keys), ("values", [texts[key] for key in keys])):
        for part in parts:
            entry = struct.pack("<II", len(part), start + len(body))
            body += part + b"\0"
            if table == "keys":
                table_of_keys += entry
            else:
                table_of_values += entry
    head = struct.pack("<7I", 0x950412DE, 0, len(keys), 28, 28 + 8 * len(keys), 0, start)
    path = folder / LANGUAGE / "LC_MESSAGES" / "django.mo"
    path.parent.mkdir(parents=True)
    path.write_bytes(head + table_of_keys + table_of_values + body)
    return folder
