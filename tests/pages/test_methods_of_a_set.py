"""A set's page says of each of its figures in one sentence how it is computed."""

from django.urls import reverse


def test_every_figure_of_a_set_has_its_method_on_the_page(league, read):
    page = read(reverse("pages:pull-set", args=[league[0].pk]))
    methods = page.text[page.text.index("How these figures are computed") :]
    for figure in ("Efficiency", "Mean load", "Scatter", "Join itself", "Nine in ten ties hold"):
        assert figure in methods, figure
    assert "The pool takes the scatter of all its sets" in methods
