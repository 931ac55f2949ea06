"""A recording as its page shows it: pictures, peaks as written, and faults in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from results.intake.recordings import Recording
from results.pages.figures import decimal
from results.pages.recordings import fault_words, pictures
from results.pages.recordings.answers import asked
from results.pages.recordings.forms import Named, PullForm
from rigs.metrology.units import FORCE_UNITS
from rigs.refusals import Finding


@dataclass(frozen=True)
class ShownPull:
    """One pull: its picture, its peak in the recording's unit, and the form that names it."""

    picture: pictures.OnePull
    peak: str
    seconds: str
    is_low: bool
    faults: Sequence[str]
    form: PullForm


@dataclass(frozen=True)
class ShownRecording:
    """All of a recording; ``faults`` are those that belong to none of its pulls."""

    whole: pictures.Whole
    samples: int
    seconds: str
    highest: str
    faults: Sequence[str]
    remarks: Sequence[Finding]
    pulls: Sequence[ShownPull]


def shown(found: Recording, forms: Named) -> ShownRecording:
    """What the page of a recording shows."""

    places = max(0, -int(Decimal(f"{found.step:.6g}").normalize().as_tuple().exponent))

    def force(newtons: float) -> str:
        return f"{decimal(newtons / FORCE_UNITS[found.unit], places)} {found.unit}"

    force_N = found.force_N
    parts = pictures.parts_of(found.cut)
    pulls = []
    for part, form in zip(parts, forms.pulls, strict=True):
        within = [each for each in found.cut.faults if part.first <= each.index < part.last]
        picture = pictures.one_pull(found.time_s, force_N, part, within)
        pulls.append(
            ShownPull(
                picture=picture,
                peak=force(float(force_N[part.peak])),
                seconds=decimal(picture.seconds, 1),
                is_low=part in found.cut.left_out,
                faults=[fault_words.in_words(each, force) for each in within],
                form=form,
            )
        )
    whole = pictures.whole(found.time_s, force_N, found.cut)
    outside = [
        each
        for each in found.cut.faults
        if not any(part.first <= each.index < part.last for part in parts)
    ]
    return ShownRecording(
        whole=whole,
        samples=found.time_s.size,
        seconds=decimal(whole.seconds, 0),
        highest=force(whole.top),
        faults=[fault_words.in_words(each, force) for each in outside],
        remarks=[asked(each) for each in found.remarks],
        pulls=pulls,
    )
