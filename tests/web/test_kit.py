"""The face kit: honest, readable without sight of colour, safe under a strict policy."""

import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from jinja2 import UndefinedError
from skimage.color import rgb2lab

from tests.browser import kit_preview

KIT = kit_preview.WEB / "templates" / "kit"
STATIC = kit_preview.WEB / "static"
VOID = {"meta", "link", "input", "br", "img", "path", "rect", "circle"}
HOSTILE = '"><script>alert(1)</script>'
STATES = ("blends", "shows", "cannot_tell", "not_comparable")


class Element:
    def __init__(self, tag, attributes, parent=None):
        self.tag, self.attributes, self.parent = tag, attributes, parent
        self.children, self.words = [], []

    def all(self, *tags):
        for child in self.children:
            if not tags or child.tag in tags:
                yield child
            yield from child.all(*tags)

    def get(self, name):
        return self.attributes.get(name)

    @property
    def text(self):
        return " ".join("".join(self._texts()).split())

    def _texts(self):
        for word in self.words:
            if isinstance(word, str):
                yield word
            else:
                yield from word._texts()


class Tree(HTMLParser):
    """A small tree of elements; raises when tags are not closed in their order."""

    def __init__(self, html):
        super().__init__()
        self.at = self.root = Element("root", {})
        self.feed(html)
        self.close()
        assert self.at is self.root, f"<{self.at.tag}> is never closed"

    def handle_starttag(self, tag, attributes):
        assert len(dict(attributes)) == len(attributes), f"an attribute twice on <{tag}>"
        element = Element(tag, dict(attributes), self.at)
        self.at.children.append(element)
        self.at.words.append(element)
        if tag not in VOID:
            self.at = element

    def handle_startendtag(self, tag, attributes):
        element = Element(tag, dict(attributes), self.at)
        self.at.children.append(element)

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.at.tag == tag, f"</{tag}> closes <{self.at.tag}>"
            self.at = self.at.parent

    def handle_data(self, data):
        self.at.words.append(data)


ENVIRONMENT = kit_preview.environment()


def call(expression, **names):
    """The tree of one expression with every kit file imported under its own name."""
    imports = "".join(
        f'{{% import "kit/{path.name}" as {path.stem} %}}' for path in sorted(KIT.glob("*.html"))
    )
    html = ENVIRONMENT.from_string(imports + expression).render(**names)
    return Tree(html).root


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    written = kit_preview.write_pages(tmp_path_factory.mktemp("kit"))
    return {path.stem: path.read_text(encoding="utf-8") for path in written}


@pytest.fixture(scope="module", params=kit_preview.PAGES)
def page(request, pages):
    return Tree(pages[request.param]).root


# Whole pages


def test_a_page_has_one_heading_that_is_its_title_too(page):
    (heading,) = page.all("h1")
    (title,) = next(page.all("head")).all("title")
    assert heading.text in title.text
    assert len(list(page.all("main"))) == 1
    assert next(page.all("html")).get("lang") == "en"


def test_a_refused_page_says_error_in_its_title(pages):
    titles = {name: next(Tree(html).root.all("title")).text for name, html in pages.items()}
    assert titles["bench"].startswith("Error: Batch 3")
    assert not titles["rack"].startswith("Error")


def test_the_skip_link_comes_first_and_leads_to_the_main_part(page):
    first = next(page.all("a"))
    assert first.get("href") == "#main"
    assert next(page.all("main")).get("id") == "main"


def test_the_entrance_in_use_is_marked_and_no_other(pages):
    tree = Tree(pages["rack"]).root
    nav = next(element for element in tree.all("nav") if element.get("aria-label") == "Entrances")
    assert [link.text for link in nav.all("a")] == ["Bench", "Rack", "Audit"]
    assert [link.text for link in nav.all("a") if link.get("aria-current")] == ["Rack"]


def test_nobody_signed_in_means_no_entrances():
    frame = kit_preview.frame("")
    frame.person = ""
    template = '{% extends "base.html" %}{% block heading %}Sign in{% endblock %}'
    tree = Tree(ENVIRONMENT.from_string(template).render(page=kit_preview.thing(frame=frame))).root
    assert not list(tree.all("nav"))


def test_the_demo_says_so_and_a_real_shop_does_not():
    template = '{% extends "base.html" %}{% block heading %}Home{% endblock %}'
    for demo in (True, False):
        frame = kit_preview.frame("bench")
        frame.demo = demo
        html = ENVIRONMENT.from_string(template).render(page=kit_preview.thing(frame=frame))
        assert ("Demo shop." in Tree(html).root.text) is demo


def test_nothing_on_a_page_needs_more_than_the_strict_policy_gives(page):
    for element in page.all():
        assert element.tag not in ("style", "script")
        for name, value in element.attributes.items():
            assert name != "style" and not name.startswith("on")
            assert "://" not in (value or "") and not (value or "").startswith("//")


def test_every_identifier_is_used_once_and_every_reference_finds_it(page):
    identifiers = [element.get("id") for element in page.all() if element.get("id")]
    assert len(identifiers) == len(set(identifiers))
    for element in page.all():
        for reference in (element.get("aria-describedby") or "").split():
            assert reference in identifiers
        if element.tag == "label" and element.get("for"):
            assert element.get("for") in identifiers


def test_every_field_has_a_label(page):
    labelled = {label.get("for") for label in page.all("label")}
    for field in page.all("input", "select", "textarea"):
        if field.get("type") == "hidden":
            continue
        wrapped = False
        above = field.parent
        while above is not None:
            wrapped = wrapped or above.tag == "label"
            above = above.parent
        assert wrapped or field.get("id") in labelled


def test_the_error_summary_leads_to_the_fields_and_repeats_their_words(pages):
    tree = Tree(pages["bench"]).root
    summary = next(e for e in tree.all("div") if e.get("class") == "error-summary")
    assert summary.get("tabindex") == "-1" and summary.get("role") == "alert"
    fields = {e.get("id") for e in tree.all("input", "fieldset", "select")}
    said = {e.text.removeprefix("Error: ") for e in tree.all("p") if e.get("class") == "error-text"}
    links = list(summary.all("a"))
    assert len(links) == 2
    for link in links:
        assert link.get("href").removeprefix("#") in fields
        assert link.text in said


def test_every_table_has_a_caption_and_scoped_heads(page):
    for table in page.all("table"):
        assert next(table.all("caption")).text
        for head in table.all("th"):
            assert head.get("scope") in ("col", "row")


def test_every_drawing_is_hidden_from_readers_and_holds_no_tab_stop(page):
    for drawing in page.all("svg"):
        assert drawing.get("aria-hidden") == "true" and drawing.get("focusable") == "false"
        assert all(link.get("tabindex") == "-1" for link in drawing.all("a"))


def test_every_joint_on_the_map_is_in_the_list_beside_it(pages):
    for name in ("audit", "large"):
        tree = Tree(pages[name]).root
        section = next(e for e in tree.all("section") if e.get("class") == "vehicle")
        drawn = {e.get("href") for e in section.all("a") if "seam " in (e.get("class") or "")}
        listing = next(e for e in section.all("ol") if e.get("class") == "joints")
        assert drawn and drawn == {e.get("href") for e in listing.all("a")}


# Verdicts


def test_the_four_marks_differ_in_outline_and_not_in_colour():
    drawings = {}
    for word in STATES:
        (drawing,) = call("{{ verdict.mark(word, 16) }}", word=word).all("svg")
        assert drawing.get("width") == drawing.get("height") == "16"
        assert not any(e.get("fill") or e.get("stroke") for e in drawing.all())
        drawings[word] = " ".join(e.get("d") for e in drawing.all("path"))
    assert len(set(drawings.values())) == 4


def test_a_mark_for_an_unknown_word_fails_instead_of_staying_empty():
    with pytest.raises(KeyError):
        call("{{ verdict.mark('maybe') }}")


@pytest.mark.parametrize("word", STATES)
def test_a_badge_always_says_its_word(word):
    tree = call("{{ verdict.badge(word) }}", word=word)
    assert tree.text == word.replace("_", " ").capitalize()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            "'shows', 1.42, (1.21, 1.66), 0.8, 'bluer and darker'",
            "Shows 1.42 (1.2 to 1.7), limit 0.80, bluer and darker",
        ),
        ("'blends', 0.34, (0.17, 0.58), 0.8", "Blends 0.34 (0.1 to 0.6), limit 0.80"),
        ("'cannot_tell', 0.74, none, 0.8", "Cannot tell 0.74, limit 0.80"),
        ("'not_comparable'", "Not comparable"),
        ("'blends', 4.2, none, 6", "Blends 4.20, limit 6.00"),  # a limit is never "over 5"
        (
            "'shows', 19.4, none, 0.8, 'redder', true",
            "Shows. A different colour: over 5, limit 0.80, redder",
        ),
    ],
)
def test_a_verdict_says_word_number_range_limit_and_direction(arguments, said):
    for form in ("line", "hero"):
        assert call(f"{{{{ verdict.{form}({arguments}) }}}}").text == said


# Swatches


def swatch_paths(expression, **names):
    (drawing,) = call(expression, **names).all("svg")
    found = {}
    for path in drawing.all("path"):
        if path.get("fill"):
            x, y, right, bottom = map(
                float, re.match(r"M(\S+) (\S+)H(\S+?)V(\S+?)H", path.get("d")).groups()
            )
            found[path.get("fill")] = (x, y, right, bottom)
    return found, list(map(float, drawing.get("viewbox").split()))


def test_master_and_batch_touch_and_stand_a_width_off_the_edge():
    found, (_, _, width, height) = swatch_paths("{{ swatch.swatch_pair('#101112', '#202122') }}")
    surround, master, batch = found["#777777"], found["#101112"], found["#202122"]
    assert surround == (0, 0, width, height)
    # The master is drawn on under the batch, so there is nothing between them.
    assert master[2] == batch[2] and batch[0] < master[2]
    side = batch[0] - master[0]
    assert side == batch[2] - batch[0] == master[3] - master[1]
    assert master[0] >= side and width - batch[2] >= side
    assert master[1] >= side and height - master[3] >= side


def test_the_surround_is_a_neutral_grey_of_lightness_fifty():
    lightness, red, yellow = rgb2lab(np.full((1, 1, 3), 0x77 / 255))[0, 0]
    assert lightness == pytest.approx(50, abs=0.5)
    # skimage's matrix and white point disagree in the last digits: a grey is not quite 0.
    assert abs(red) < 0.01 and abs(yellow) < 0.02


def test_a_swatch_says_what_it_is_worth():
    tree = call("{{ swatch.swatch_pair('#101112', '#202122', right_out=true) }}")
    assert "Screen picture only. Compare the card itself." in tree.text
    assert "Right: Batch outside this screen’s colours" in tree.text
    assert "Master outside" not in tree.text
    assert len([e for e in tree.all("path") if "swatch-out" in (e.get("class") or "")]) == 2


def test_a_swatch_without_a_proper_colour_is_refused():
    with pytest.raises(ValueError, match="must look like #1a2b3c"):
        call("{{ swatch.swatch_pair('', '#202122') }}")


# Single parts


def test_a_card_shows_its_code_in_groups_and_where_it_is():
    tree = call("{{ card.card('7K3QX9WD4', 'B07', 'Ice Harbour') }}")
    assert "7K3Q-X9WD-4" in tree.text and "Slot B07" in tree.text
    assert not list(tree.all("a"))
    linked = call("{{ card.card('7K3QX9WD4', '', 'Ice Harbour', '/c/7K3QX9WD4') }}")
    assert [e.get("href") for e in linked.all("a")] == ["/c/7K3QX9WD4"]
    assert "Not in the rack" in linked.text


def test_number_fields_bring_up_the_keypad_and_keep_what_was_typed():
    (field,) = call("{{ form.number_field('film', 'Film build', '18,5', 'µm') }}").all("input")
    assert field.get("inputmode") == "decimal" and field.get("type") == "text"
    assert field.get("value") == "18,5"
    tree = call("{{ form.number_field('film', 'Film build', '18,5', 'µm') }}")
    assert next(tree.all("label")).text.startswith("Film build in µm")


def test_one_tile_is_chosen_and_the_summary_can_lead_to_the_first():
    options = [{"value": "a", "text": "A"}, {"value": "b", "text": "B"}]
    tree = call("{{ form.radio_tiles('g', 'Ground', options, 'b') }}", options=options)
    first, second = tree.all("input")
    assert first.get("id") == "f-g" and "checked" not in first.attributes
    assert "checked" in second.attributes
    assert next(tree.all("fieldset")).children[0].tag == "legend"


def test_the_pager_goes_only_onward_and_back_to_the_start():
    tree = call("{{ table.pager('?after=9', '?', '50 cards shown') }}")
    assert [(e.text, e.get("href")) for e in tree.all("a")] == [
        ("Back to the start", "?"),
        ("Show the next ones", "?after=9"),
    ]
    assert "end of the list" in call("{{ table.pager() }}").text


def test_a_sorted_column_says_so():
    columns = [{"text": "Batch", "href": "?s=b", "sorted": "descending"}, {"text": "Slot"}]
    tree = call("{% call table.table('Batches', columns) %}{% endcall %}", columns=columns)
    assert [e.get("aria-sort") for e in tree.all("th")] == ["descending", None]


@pytest.mark.parametrize("kind", ["hardener", "solvent", "oven"])
def test_a_caution_sends_to_the_safety_data_sheet_and_gives_no_advice_of_its_own(kind):
    said = call("{{ text.caution(kind) }}", kind=kind).text
    assert "Follow the safety data sheet, local codes and licensed practice." in said


def test_a_moment_is_local_on_the_screen_and_iso_on_paper():
    tree = call("{{ text.moment(at, 'Europe/Lisbon') }}", at=kit_preview.START)
    screen, paper = tree.all("span")
    assert (screen.get("class"), screen.text) == ("on-screen", "Mon 3 Mar 2025, 08:15")
    assert (paper.get("class"), paper.text) == ("on-paper", "2025-03-03 08:15 +00:00")
    assert next(tree.all("time")).get("datetime") == "2025-03-03T08:15:00Z"


# What holds for all of the kit


@pytest.mark.parametrize(
    "expression",
    [
        "{{ card.card(bad, bad, bad, bad, bad) }}",
        "{{ form.text_field(bad, bad, bad, bad, bad) }}",
        "{{ form.radio_tiles(bad, bad, [{'value': bad, 'text': bad, 'hint': bad}], bad) }}",
        "{{ form.select_field(bad, bad, [{'value': bad, 'text': bad}], bad) }}",
        "{{ form.text_area(bad, bad, bad) }}",
        "{{ form.error_summary([{'field': bad, 'message': bad}]) }}",
        "{{ text.findings([{'word': '', 'sentence': bad, 'remedy': bad, 'href': bad}]) }}",
        "{{ text.facts([{'term': bad, 'text': bad, 'note': bad}]) }}",
        "{{ text.notice(bad) }}{{ text.empty(bad, bad, bad) }}",
        "{{ table.row_head(bad, bad) }}{{ table.cell(bad) }}{{ table.pager(bad, bad, bad) }}",
        "{% call table.table(bad, [{'text': bad, 'href': bad}]) %}{% endcall %}",
        "{{ verdict.line('shows', 1, none, none, bad) }}{{ verdict.next_step(bad) }}",
        "{{ verdict.reasons([{'reason': bad, 'remedy': bad}]) }}",
        "{{ swatch.swatch_pair('#111111', '#222222', bad, bad) }}",
        "{{ record.journal([{'at': at, 'person': bad, 'sentence': bad, 'reason': bad,"
        " 'was': bad, 'now': bad}], 'UTC') }}",
        "{{ record.readings(bad, [{'name': bad, 'lab': (1, 2, 3), 'dropped': bad}]) }}",
    ],
)
def test_words_from_outside_stay_words(expression):
    at = kit_preview.START
    imports = "".join(
        f'{{% import "kit/{path.name}" as {path.stem} %}}' for path in KIT.glob("*.html")
    )
    html = ENVIRONMENT.from_string(imports + expression).render(bad=HOSTILE, at=at)
    # Upper and lower case may change (a card's code), so the mark of an escape is its bracket.
    assert "<script" not in html.lower()
    assert "&lt;script&gt;" in html.lower()


def test_a_missing_attribute_is_an_error_and_not_a_gap():
    with pytest.raises(UndefinedError):
        call("{{ text.findings([{'sentence': 'x'}]) }}")


@pytest.mark.parametrize("path", sorted(KIT.glob("*.html")), ids=lambda path: path.stem)
def test_every_public_macro_is_explained_at_the_top_with_its_arguments(path):
    text = path.read_text(encoding="utf-8")
    head = " ".join(text[text.index("{#-") : text.index("-#}")].split())
    for name, arguments in re.findall(r"\{% macro ([a-z]\w*)\((.*?)\)\s*-?%\}", text, re.S):
        explained = re.search(rf"\b{name}\((.*?)\)", head)
        assert explained, name
        if explained[1] == "...":  # "the same arguments" as the macro above it
            continue
        asked = {part.split("=")[0].strip() for part in arguments.split(",")} - {"", "id"}
        said = {part.split("=")[0].strip() for part in explained[1].split(",")} - {"", "id"}
        assert said == asked, name


@pytest.mark.parametrize("path", sorted(Path(KIT).glob("*.html")), ids=lambda path: path.stem)
def test_no_template_switches_escaping_off(path):
    text = path.read_text(encoding="utf-8")
    assert "|safe" not in text and "autoescape" not in text


def test_the_style_sheets_ask_for_nothing_and_keep_to_neutral_greys():
    accents = set()
    for path in sorted(STATIC.iterdir()):
        text = path.read_text(encoding="utf-8")
        assert "url(" not in text and "@import" not in text
        for colour in re.findall(r"#[0-9a-fA-F]{6}\b", text):
            red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
            if red == green == blue:
                continue
            accents.add(colour)
            lab = rgb2lab(np.array([[[red, green, blue]]]) / 255)[0, 0]
            assert np.hypot(lab[1], lab[2]) < 12  # low chroma; skimage's own conversion
        assert not re.search(r"\b(rgb|hsl|lab|oklch)a?\(", text)
    assert len(accents) == 2  # one for light, one for dark
