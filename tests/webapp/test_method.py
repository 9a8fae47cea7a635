"""The method page, and that no link of the app leads nowhere."""

from tests.webapp.conftest import Visitor
from valuation import materials
from webapp.glossary import GLOSSARY


def test_the_method_page_has_every_rock_source_and_word(visitor: Visitor) -> None:
    page = visitor.open("/method")
    assert page.status == 200
    words = page.words()
    for row in (*materials.rocks().values(), *materials.minerals().values()):
        assert row.label in words
    for reference in materials.references().values():
        assert " ".join(reference.citation.split()) in words
    assert [word for word, _ in GLOSSARY] == [dt.get_text() for dt in page.all(".glossary dt")]


def test_the_glossary_is_in_order_and_says_each_word_once() -> None:
    words = [word.lower() for word, _ in GLOSSARY]
    assert words == sorted(words) and len(words) == len(set(words))


def test_no_link_leads_nowhere(visitor: Visitor) -> None:
    seen: set[str] = set()
    sent = visitor.send(visitor.open("/demos/leaf-gold-walk-in"), {"buyer.offer": "4300"})
    to_see = ["/", "/quotes", "/asks/new", "/method", "/open", str(sent.one("#quote-form")["action"])]
    while to_see:
        address = to_see.pop()
        page = visitor.open(address)
        assert page.status == 200, address
        for link in page.all("a[href]"):
            goal = str(link["href"])
            if goal.startswith("#"):
                assert page.all(f'[id="{goal[1:]}"]'), (address, goal)
            elif goal.startswith("/") and goal.partition("?")[0] not in seen and not goal.endswith("/file"):
                seen.add(goal.partition("?")[0])
                if len(seen) < 60:
                    to_see.append(goal)
