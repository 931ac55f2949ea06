"""Forms of the moderators' desk."""

from __future__ import annotations

from collections.abc import Sequence

from django import forms
from django.contrib.admin.helpers import ActionForm
from django.utils.translation import gettext, gettext_lazy

from results.review.decisions import DECISIONS, LONGEST_TEXT

ASK = "ask"
CHOICES = (*DECISIONS, ASK)


class DecisionForm(forms.Form):
    """One decision on one case, or a question; ``version`` is the case as it was looked at.

    ``together`` marks a warning that was read, of what several releases add up to.
    """

    decision = forms.ChoiceField(
        choices=[(name, name) for name in CHOICES], widget=forms.RadioSelect
    )
    reason = forms.CharField(
        max_length=LONGEST_TEXT,
        widget=forms.Textarea(attrs={"rows": 12, "cols": 90}),
        help_text=gettext_lazy("The contributor reads this."),
    )
    version = forms.IntegerField(widget=forms.HiddenInput)
    together = forms.CharField(required=False, widget=forms.HiddenInput)
    also = forms.MultipleChoiceField(
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label=gettext_lazy("Decide the same on"),
        help_text=gettext_lazy(
            "Other cases of this tester. Each gets a letter of its own: your words, and its own "
            "evidence where the draft has this set's. A question goes to this set alone."
        ),
    )

    def offer_others(self, others: Sequence[tuple[str, str]]) -> None:
        """Offer other cases by value and label; without any the question is left out."""
        also = self.fields["also"]
        if others and isinstance(also, forms.MultipleChoiceField):
            also.choices = list(others)
        else:
            del self.fields["also"]

    def warn_of_the_sum(self, sentences: Sequence[str], mark: str) -> None:
        """Say what several releases add up to; sent again with ``mark``, the form has been read."""
        for sentence in sentences:
            self.add_error(None, sentence)
        self.add_error(None, gettext("Nothing is decided yet: send it again to release them all."))
        self.data = {**self.cleaned_data, "together": mark}

    def versions_of_others(self) -> dict[int, int]:
        """The other cases that were chosen, with the version of each as it was looked at."""
        chosen = (value.partition(".") for value in self.cleaned_data.get("also", ()))
        return {int(pk): int(version) for pk, _, version in chosen}

    def offer(self, names: Sequence[str]) -> None:
        """Show these choices alone; what was sent is checked against all of them."""
        self.fields["decision"].widget.choices = [(name, name) for name in names]


class ManyForm(ActionForm):
    """The reason that goes with one decision on many cases.

    Browsers ask for it before they send anything, so that what was selected stays selected.
    """

    reason = forms.CharField(
        max_length=LONGEST_TEXT,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2, "required": True}),
    )
