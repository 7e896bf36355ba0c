"""The page of the measures is current and says what the Definitions page says."""

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from outcomes.handbook import estimators, measures
from outcomes.measures.catalogue import MEASURES


def test_the_document_is_current():
    written = (settings.BASE_DIR / "docs" / "measures.md").read_text(encoding="utf-8")
    assert written == measures.text(), "run manage.py handbook"


@pytest.mark.parametrize("measure", MEASURES, ids=lambda measure: measure.id)
def test_every_word_of_a_definition_is_there(measure):
    page = measures.text()
    for words in (measure.definition, measure.who_counts, measure.what_counts, measure.censoring):
        assert words in page


def test_the_command_writes_both_pages(tmp_path, capsys):
    call_command("handbook", str(tmp_path))
    assert (tmp_path / "estimators.md").read_text(encoding="utf-8") == estimators.text()
    assert (tmp_path / "measures.md").read_text(encoding="utf-8") == measures.text()


def test_a_folder_that_is_not_there_is_an_error(tmp_path):
    with pytest.raises(CommandError, match="No such file"):
        call_command("handbook", str(tmp_path / "nowhere"))
