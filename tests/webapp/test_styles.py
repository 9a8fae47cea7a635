"""Style sheets lose what is for readers, and nothing else."""

from pathlib import Path

import pytest
from flask.testing import FlaskClient

import webapp
from webapp.styles import bare

SHEETS = sorted((Path(webapp.__file__).parent / "static").glob("*.css"))


def test_texts_sums_and_selectors_keep_their_spaces() -> None:
    css = """/* words { } */
a  >  b,
c :is(d, e) { content: "  :  /* not a comment */ "; width: calc(1px + 2 * var(--gap)); }

@media (min-width: 60rem) and (max-width: 70rem) {
  p { margin: 0 auto; }
}
"""
    assert bare(css) == (
        'a > b,c :is(d,e){content:"  :  /* not a comment */ ";width:calc(1px + 2 * var(--gap))}'
        "@media (min-width:60rem) and (max-width:70rem){p{margin:0 auto}}"
    )


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_every_rule_is_sent(client: FlaskClient, sheet: Path) -> None:
    whole = sheet.read_text("utf-8")
    with client.get(f"/static/{sheet.name}") as answer:
        sent = answer.text
    assert len(sent) < 0.9 * len(whole) and "/*" not in sent
    for mark in "{}":
        assert sent.count(mark) == whole.count(mark)
    assert set(whole.replace("{", " ").split()) & {"@media"} <= {"@media"} and sent.count("@media") == whole.count(
        "@media"
    )
