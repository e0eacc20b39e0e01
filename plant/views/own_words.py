"""The plant's own words for what its files say: the list, and forgetting one."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant.models import PlantWord
from plant.permissions import PlantRequest, get_visible, right
from plant.services.own_words import forget_word
from plant.tables.own_words import OwnWordTable
from plant.views.lists import RegisterList

RIGHT = "plant.run_import"


class OwnWordList(RegisterList):
    """Every word that somebody said the meaning of."""

    right = RIGHT
    title = gettext_lazy("Words of the plant")
    lede = gettext_lazy(
        "What your files say and what it stands for here, said once on the page of a file. The next file is read by it."
    )
    empty_words = gettext_lazy(
        "Nobody has said anything yet. Where a file holds a word that is not understood, its page asks what it means."
    )
    table_class = OwnWordTable

    def rows(self) -> Any:
        return PlantWord.objects.of_plant(self.request.plant).select_related("conveyor", "created_by")


@right(RIGHT)
def own_word_forget(request: PlantRequest, pk: int) -> HttpResponse:
    """Asks first."""
    word = get_visible(request, PlantWord.objects.all(), RIGHT, pk=pk)
    if request.method == "POST":
        forget_word(word=word, by=request.user)
        messages.success(request, _("What “%(word)s” stands for is forgotten.") % {"word": word.written})
        return redirect("own-word-list")
    title = _("Forget what “%(word)s” stands for?") % {"word": word.written}
    return render(request, "plant/own_word_forget.html", {"title": title, "word": word})
