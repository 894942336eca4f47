"""The library as the routes show it: items, what they hold, and changes that are checked first."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from foreaft.base.errors import InputError
from foreaft.files.library import ENDINGS, KINDS, Library, Stored
from foreaft.files.library_names import safe_name, unknown
from foreaft.files.trial_laps import has_laps
from foreaft.logs.read import raw_log
from foreaft.model.car import Car
from foreaft.web import things
from foreaft.web.changing import changed, refused, text_from
from foreaft.web.faces import Damaged, GoneFace, Held, Item, Listing, PastFace
from foreaft.web.telling import error_dict


class Shelves:
    """The things of a library, by kind and id."""

    def __init__(self, library: Library) -> None:
        self.library = library
        self._looks: dict[tuple[str, str], tuple[str, things.Look]] = {}

    # ------------------------------------------------------------ looking

    def listing(self) -> Listing:
        """Everything; what nobody can have meant is moved aside and told."""
        items = []
        for kind in KINDS:
            for name in self.library.ids(kind):
                try:
                    stored = self.library.stored(kind, name)
                except InputError:
                    continue  # removed while we look
                look = self._look(stored)
                if look.problem is not None and look.problem.code in things.DAMAGED:
                    self.library.set_aside(kind, name, stored.revision)
                    continue
                items.append(self._item(stored, look))
        return Listing(items=items, damaged=self._damaged())

    def _look(self, stored: Stored) -> things.Look:
        key = (stored.kind, stored.id)
        known = self._looks.get(key)
        if known is not None and known[0] == stored.revision:
            return known[1]
        look = things.look(stored.kind, stored.id, stored.file)
        self._looks[key] = (stored.revision, look)
        return look

    def item(self, stored: Stored) -> Item:
        """One thing as it is shown."""
        return self._item(stored, self._look(stored))

    def _item(self, stored: Stored, look: things.Look) -> Item:
        problem = look.problem
        return Item.model_validate(
            {
                "kind": stored.kind,
                "id": stored.id,
                "name": look.name,
                "revision": stored.revision,
                "saved_at": _when(stored.saved_at_s),
                "bytes": stored.size,
                "note": look.note,
                "problem": None if problem is None else error_dict(problem, self.library),
            }
        )

    def _damaged(self) -> list[Damaged]:
        found = []
        for one in self.library.aside():
            why = "It cannot be read."
            try:
                things.check(one.kind, one.file)
            except InputError as error:
                why = error.message
            kept = one.file.relative_to(self.library.root).as_posix()
            found.append(
                Damaged(
                    kind=one.kind, id=one.id, file=f"{one.kind}/{one.id}", why=why, kept_as=kept
                )
            )
        return found

    def held(self, kind: str, name: str) -> Held:
        """One thing with its text and its plain values."""
        stored = self.library.stored(kind, name)
        try:
            text = things.text_of(kind, stored.file)
        except InputError:
            text = None  # damaged; the next listing moves it aside
        value = things.value_of(kind, text, stored.file)
        used = things.used_of(kind, stored.file)
        return Held(item=self.item(stored), text=text, value=value, used=used)

    # ------------------------------------------------------------ changing

    def save(
        self, kind: str, name: str, text: str, based_on: str | None, *, draft: bool = False
    ) -> Item:
        """Save text that a job would take; ``InputError`` where it would not."""
        if kind == "logs":
            raise refused("A log is sent as a file.", "kind", kind, "PUT /api/logs", "Send it so.")
        file = self.library.place(kind, name)
        if kind == "zones":
            self.library.found("circuits", name)
        data = encoded(text)
        ending = _ending(kind, text)
        self._check(kind, name, data, ending or file.suffix)
        return self.item(self.library.save(kind, name, data, based_on, ending, draft=draft))

    def _check(self, kind: str, name: str, data: bytes, ending: str) -> None:
        """Check a text as a file of its kind, under its own name."""
        folder = self.library.part()
        stem = "zones" if kind == "zones" else name
        file = folder / (stem + (ENDINGS[kind][0] if kind == "mappings" else ending))
        try:
            folder.mkdir()
            file.write_bytes(data)
            held = things.check(kind, file)
            if isinstance(held, Car):
                things.check_draws(held)
        except InputError as error:
            error.file = f"{kind}/{name}"
            error.args = (error.message.replace(str(file), error.file),)
            raise
        finally:
            file.unlink(missing_ok=True)
            folder.rmdir()

    def save_value(
        self, kind: str, name: str, value: Any, based_on: str | None, *, draft: bool = False
    ) -> Item:
        """Save plain values."""
        return self.save(kind, name, text_from(kind, value), based_on, draft=draft)

    def change(self, kind: str, name: str, changes: Mapping[str, Any], based_on: str) -> Item:
        """Set some keys of a TOML file."""
        if kind not in (*things.MODELS, "mappings"):
            raise refused(
                "Only TOML files are changed by keys.",
                "kind",
                kind,
                ", ".join((*things.MODELS, "mappings")),
                "Send the whole of it instead.",
            )
        text = things.text_of(kind, self.library.found(kind, name))
        return self.save(kind, name, changed(text or "", changes), based_on)

    def copy(self, kind: str, name: str, new: str, title: str | None) -> Item:
        """Copy a thing under a new id, and for TOML under a new name."""
        if kind in ("logs", "zones"):
            raise refused(
                "This is not copied by itself.",
                "kind",
                kind,
                "cars, drivers, conditions, sheets, circuits, mappings, plans",
                "Zones are copied with their circuit; a log needs no copy.",
            )
        held = self.held(kind, name)
        if held.text is None:
            raise unknown(kind, name)
        text = held.text
        if kind in things.MODELS:
            text = changed(text, {"id": new, "name": title or held.item.name})
        item = self.save(kind, new, text, None)
        if kind == "circuits" and name in self.library.ids("zones"):
            zones = things.text_of("zones", self.library.found("zones", name))
            self.save("zones", new, zones or "", None)
        return item

    def take_log(self, part: Path, name: str) -> Item:
        """Take in a log, or the laps of a trial, received whole; ``InputError`` for all else."""
        kept_as = safe_name(name)
        try:
            if not has_laps(part):
                raw_log(part)
        except InputError as error:
            error.file = kept_as
            error.value = kept_as if error.value == part.name else error.value
            raise
        return self.item(self.library.receive_log(part, kept_as))

    def past(self, kind: str, name: str) -> list[PastFace]:
        """Former versions, newest first."""
        return [
            PastFace(
                revision=one.revision,
                saved_at=_when(one.at / 1000),
                refused=one.refused,
                removed=one.removed,
            )
            for one in self.library.past(kind, name)
        ]

    def removed(self) -> list[GoneFace]:
        """What was removed and is not there again."""
        return [
            GoneFace.model_validate(
                {
                    "kind": kind,
                    "id": name,
                    "revision": gone.revision,
                    "removed_at": _when(gone.at / 1000),
                }
            )
            for kind, name, gone in self.library.removed()
        ]

    def past_text(self, kind: str, name: str, revision: str) -> str:
        """Text of a former version."""
        text = things.text_of(kind, self.library.past_file(kind, name, revision))
        if text is None:
            raise refused("A log is no text.", "kind", kind, "all but logs", "Restore it instead.")
        return text


def encoded(text: str) -> bytes:
    """Bytes of a text that came as JSON; ``InputError`` where it is half a character."""
    try:
        return text.encode()
    except UnicodeEncodeError as error:
        raise refused(
            "The text holds half a character.",
            "text",
            f"character {error.start + 1}",
            "text",
            "Send it as UTF-8.",
        ) from error


def _ending(kind: str, text: str) -> str | None:
    """Of a circuit, what its text shows it to be."""
    if kind != "circuits":
        return None
    return ".geojson" if text.lstrip("\ufeff \t\r\n").startswith("{") else ".csv"


def _when(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="milliseconds")


def begin(library: Library) -> None:
    """Put the demo into a library that is new; what is there already stays."""
    from foreaft.files.classes import demo_folder

    begun = library.root / ".begun"
    if begun.exists():
        return
    places = {
        ("cars", "halden-gt"): "car.toml",
        ("drivers", "mara-venn"): "driver.toml",
        ("conditions", "dry"): "dry.toml",
        ("conditions", "wet"): "wet.toml",
        ("circuits", "brackwater"): "brackwater.csv",
        ("zones", "brackwater"): "zones.csv",
        ("sheets", "eight-corners"): "sheet.csv",
    }
    folder = demo_folder()
    for (kind, name), file in places.items():
        if name not in library.ids(kind):
            library.save(kind, name, (folder / file).read_bytes(), None)
    Path(begun).touch()
