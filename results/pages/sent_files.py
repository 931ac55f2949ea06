"""Files that a form brings: their bytes, and what they are by the ending of their names."""

from __future__ import annotations

from collections.abc import Mapping

from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _

from results.intake.limits import MOST_BYTES
from rigs.refusals import Finding, Invalid, TooLarge


def read_sent(
    sent: UploadedFile[bytes] | None, form_of_ending: Mapping[str, str], expected: str
) -> tuple[bytes, str]:
    """Bytes and form of what was sent. Raises Invalid, which names the endings that are
    ``expected``, and TooLarge."""
    if sent is None:
        raise Invalid(_("No file was chosen."), [Finding("", "file", _("nothing"), _("a file"))])
    if (sent.size or 0) > MOST_BYTES:
        raise TooLarge(
            _("The upload has %(size)s bytes; the limit is %(most)s.")
            % {"size": sent.size, "most": MOST_BYTES}
        )
    ending = str(sent.name).rpartition(".")[2].lower()
    form = form_of_ending.get(ending)
    if form is None:
        raise Invalid(
            _("This kind of file can't be read here."),
            [Finding("", "file", str(sent.name)[-60:], expected)],
        )
    return sent.read(), form
