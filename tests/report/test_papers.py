"""Papers for an owner as they come out of the printer: their words, sums, tags and gaps."""

from __future__ import annotations

import io
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pikepdf
import pytest

from quirewell.record import dealing, nouns
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.report.model import Untraceable, known_refs, settle
from quirewell.report.paper_parts import deal_table
from quirewell.report.papers import KINDS, Asked, Made, NoPaper, write_paper
from quirewell.report.treatment import head_of
from quirewell.stages import clients, custody, quoting
from quirewell.stages.methods import run_method
from quirewell.stages.owner_view import owner_view
from quirewell.studio.studio import Studio
from report_case import add, report_studio, text_of

NAME, STREET, MAIL = "Ada Fennimore", "4 Quern Lane", "ada@quern.example"
LIMITS = custody.LIMITS[:2]


def put(studio: Studio, drafts: tuple[Draft, ...]) -> None:
    studio.append(drafts[0].stream, None, drafts)


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    """An item in custody, quoted, weighed, invoiced and with a mishap."""
    made = report_studio(tmp_path_factory.mktemp("papers") / "studio", pairs=3)
    reach = f"{STREET}\nCopperbeck\n{MAIL}"
    put(made, clients.keep_client(made.bench(), {"name": NAME, "reach": reach}))
    client = next(iter(made.bench().clients))
    form = {"client": client, "received_on": "2026-03-02", "insured": "450", "currency": "GBP",
            "limit-0": "y", "limit-1": "y", "limits": f"Ring {NAME} before the cover is wetted.",
            "came_with": "A polyester sleeve."}  # fmt: skip
    put(made, custody.take_custody(made.state("annual"), made.bench(), form))
    form = {"what-0": "Washing and mending", "hours-0": "6.25", "rate": "38", "what-1": "Tissue",
            "amount-1": "4.15", "what-2": "Post", "amount-2": "9.80", "currency": "GBP",
            "most": "300", "day": "2026-03-04", "note": f"As {NAME} asked."}  # fmt: skip
    put(made, quoting.make_quote(made.state("annual"), made.bench(), form))
    form |= {"number": "2026-007", "tax_pct": "20", "note": "Within 30 days."}
    put(made, quoting.write_invoice(made.state("annual"), made.bench(), {}, form))
    mishap = dealing.Mishap("mishap-1", "A corner came off.", "w03", done_about="Mended in.")
    add(made, "annual", ("mishap.noted", mishap))
    yield made
    made.close()


@pytest.fixture(scope="module")
def weighed(studio: Studio) -> Studio:
    params = {"grade": "3/4/5", "low": "40", "likely": "80", "high": "160", "currency": "GBP",
              "hour": "38"}  # fmt: skip
    run = run_method("options.weigh", "plan", {}, params=params)
    add(studio, "annual", ("run.recorded", run))
    return studio


def written(studio: Studio, asked: Asked) -> Made:
    state = studio.state("annual")
    return write_paper(
        asked, state, studio.bench(), studio.name, head_of(studio, "annual"), studio.blobs.path
    )


def words_of(made: Made, folder: Path) -> str:
    path = folder / "paper.pdf"
    path.write_bytes(made.pdf)
    said: str = text_of(path).replace("\u00a0", " ")
    return said


def test_a_custody_receipt_holds_limits_value_pictures_and_hashes(
    studio: Studio, tmp_path: Path
) -> None:
    made = written(studio, Asked("custody"))
    said = words_of(made, tmp_path)
    for wanted in (*LIMITS, NAME, STREET, "450.00 GBP", "2 March 2026", "A polyester sleeve."):
        assert wanted in said
    state = studio.state("annual")
    shown, other = (state.captures[name].sha256 for name in ("front-before", "c-outer-left-after"))
    assert shown[:32] in said and shown[32:] in said
    assert other[:32] not in said
    assert made.missing == ()


def test_a_receipt_shows_six_pictures_at_most(studio: Studio) -> None:
    with pikepdf.open(io.BytesIO(written(studio, Asked("custody")).pdf)) as pdf:
        images = [
            one for one in pdf.objects
            if isinstance(one, pikepdf.Stream) and one.get("/Subtype") == "/Image"
        ]  # fmt: skip
    assert 1 <= len(images) <= 6


def test_an_invoice_adds_up_as_worked_by_hand(studio: Studio, tmp_path: Path) -> None:
    # 6.25 h x 38.00 = 237.50; + 4.15 + 9.80 = 251.45; 20 % = 50.29; in all 301.74.
    said = words_of(written(studio, Asked("invoice")), tmp_path)
    for wanted in ("2026-007", "237.50 GBP", "251.45 GBP", "Tax, 20 %", "50.29 GBP",
                   "301.74 GBP", "Within 30 days."):  # fmt: skip
        assert wanted in said


def test_a_quote_shows_the_most_agreed(studio: Studio, tmp_path: Path) -> None:
    said = words_of(written(studio, Asked("quote")), tmp_path)
    assert "The most agreed is 300.00 GBP" in said and "251.45 GBP" in said


def test_a_return_receipt_tells_what_was_done_what_went_wrong_and_what_remains(
    studio: Studio, tmp_path: Path
) -> None:
    made = written(studio, Asked("return"))
    said = words_of(made, tmp_path)
    for wanted in ("Deacidified in lime water", "it cannot be taken back", "A corner came off.",
                   "rust halo at the upper staple", "Paper was deacidified"):  # fmt: skip
        assert wanted in said
    assert any("not noted as given back" in says for says in made.missing)


def test_a_proposal_shows_the_weighings_own_numbers(weighed: Studio, tmp_path: Path) -> None:
    run = weighed.state("annual").newest_run("options.weigh", "plan")
    assert run is not None
    made = written(weighed, Asked("proposal"))
    said = words_of(made, tmp_path)
    full = {one.quantity: one for one in run.findings if one.subject == "Full treatment"}
    loss = full["options.loss_chance"].value
    assert loss is not None and f"{100 * loss:.0f} %" in said
    for wanted in ("spine split", "Leave alone", "Full treatment", "The owner's consent", NAME,
                   "What cannot be mended", "10 to 28"):  # fmt: skip
        assert wanted in said
    assert made.missing == ()


def test_a_proposal_without_names_holds_none(weighed: Studio, tmp_path: Path) -> None:
    consent = dealing.Choice("Full treatment", f"{NAME} wants it to last.", "", NAME, "2026-03-05")
    add(weighed, "annual", ("choice.made", consent))
    made = written(weighed, Asked("proposal", names=False))
    said = words_of(made, tmp_path)
    for private in (NAME, NAME.upper(), "Fennimore", STREET, MAIL, "R. Larkmoor"):
        assert private not in said
        assert private.encode() not in made.pdf
    assert "Copperbeck Garden Annual" in said and "the owner wants it to last" in said
    named = words_of(written(weighed, Asked("proposal")), tmp_path)
    assert NAME in named and "5 March 2026" in named


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_paper_is_tagged_titled_and_repeats_byte_for_byte(weighed: Studio, kind: str) -> None:
    made = written(weighed, Asked(kind))
    assert made.pdf == written(weighed, Asked(kind)).pdf
    with pikepdf.open(io.BytesIO(made.pdf)) as pdf:
        assert "/StructTreeRoot" in pdf.Root and bool(pdf.Root.MarkInfo.Marked)
        meta = pdf.open_metadata()
        assert (meta["pdfaid:part"], meta["pdfaid:conformance"]) == ("2", "A")
        assert meta["pdfuaid:part"] == "1"
        assert KINDS[kind] in meta["dc:title"]


@pytest.mark.parametrize(("size", "points"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_paper_is_a4_or_letter(weighed: Studio, size: str, points: tuple[int, int]) -> None:
    with pikepdf.open(io.BytesIO(written(weighed, Asked("quote", size)).pdf)) as pdf:
        box = [round(float(one)) for one in pdf.pages[0].mediabox]
    assert tuple(box[2:]) == points


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_with_nothing_recorded_each_paper_says_what_it_lacks(kind: str, tmp_path: Path) -> None:
    with Studio.create(tmp_path / "bare", "Larkmoor paper bench") as bare:
        add(bare, "annual", ("item.opened", nouns.Item("Copperbeck Garden Annual")))
        made = written(bare, Asked(kind))
        assert made.missing and all(says.endswith(".") for says in made.missing)
        assert "Copperbeck Garden Annual" in words_of(made, tmp_path)


def test_no_option_is_lost_of_many_and_no_price_advises_nothing(tmp_path: Path) -> None:
    own = "".join(f"Own way {n},own,mend,{n + 1}\n" for n in range(9))
    with Studio.create(tmp_path / "many", "Larkmoor paper bench") as made:
        add(made, "annual", ("item.opened", nouns.Item("Copperbeck Garden Annual")))
        params = {"grade": "3", "options": f"option,kind,steps,hours\n{own}"}
        run = run_method("options.weigh", "plan", {}, params=params)
        add(made, "annual", ("run.recorded", run))
        said = words_of(written(made, Asked("proposal")), tmp_path)
    for n in range(9):
        # Side by side, in each of the tables of harm and of what must be told, and to tick.
        assert said.count(f"Own way {n}") >= 4
    assert "No price of it is known" in said and "type what" not in said


def test_what_harms_it_for_gain_is_not_offered(tmp_path: Path) -> None:
    with Studio.create(tmp_path / "harm", "Larkmoor paper bench") as made:
        add(made, "annual", ("item.opened", nouns.Item("Copperbeck Garden Annual")))
        text = "option,kind,steps,hours,factor_pct\nTrim the edges,own,,1,300\n"
        params = {"grade": "3", "low": "40", "likely": "80", "high": "160", "options": text}
        run = run_method("options.weigh", "plan", {}, params=params)
        assert any(one.quantity == "options.flag" for one in run.findings)
        add(made, "annual", ("run.recorded", run))
        said = words_of(written(made, Asked("proposal")), tmp_path)
    assert "Trim the edges, as described" not in said
    assert "Leave alone" in said


def test_odd_names_run_off_no_page_and_stay_words(tmp_path: Path) -> None:
    odd = '<script>alert("x")</script> #pagebreak() \u05d0\u05d1\u05d2 ' + "W" * 60
    with Studio.create(tmp_path / "odd", odd[:40]) as made:
        add(made, "annual", ("item.opened", nouns.Item("L" * 300, owner=odd)))
        put(made, clients.keep_client(made.bench(), {"name": odd[:120], "reach": odd * 3}))
        client = next(iter(made.bench().clients))
        form = {"client": client, "limits": odd, "condition": odd * 5}
        put(made, custody.take_custody(made.state("annual"), made.bench(), form))
        form = {"what-0": odd, "amount-0": "999999999.99", "currency": "crowns"}
        put(made, quoting.make_quote(made.state("annual"), made.bench(), form))
        for kind in KINDS:
            pdf = written(made, Asked(kind))
            said = words_of(pdf, tmp_path).replace("\u200b", "")
            assert "alert" in said and "[U+05D0]" in said.replace(" ", "")
            assert _rightmost(tmp_path / "paper.pdf") <= 595


def _rightmost(path: Path) -> float:
    """The rightmost end of any word on any page, in points."""
    import re
    import subprocess

    found = subprocess.run(
        ["pdftotext", "-bbox", str(path), "-"], capture_output=True, check=True, text=True
    ).stdout
    return max(float(x) for x in re.findall(r'<word [^>]*xMax="([\d.]+)"', found))


def test_papers_that_cannot_be_are_refused_in_a_sentence(studio: Studio) -> None:
    for asked in (Asked("bill"), Asked("quote", "a3"), Asked("invoice", names=False),
                  Asked("invoice", invoice="invoice-999")):  # fmt: skip
        with pytest.raises(NoPaper):
            written(studio, asked)


def test_a_sum_without_a_record_behind_it_stops_a_paper(studio: Studio) -> None:
    state = studio.state("annual")
    quote = owner_view(state, studio.bench()).quote
    assert quote is not None
    parts = deal_table(quote, "quote-999")
    with pytest.raises(Untraceable, match="quote-999"):
        settle({"parts": parts}, known_refs(state))


def test_a_cancelled_invoice_says_that_nothing_is_to_be_paid(
    studio: Studio, tmp_path: Path
) -> None:
    state = studio.state("annual")
    held = quoting.newest_invoice(state)
    assert held is not None
    gone = dealing.Invoice(held.id, held.number, held.lines, held.currency, held.day,
                           Decimal(20), "", "", "2026-04-09")  # fmt: skip
    studio.append("annual", None, (Draft("annual", "invoice.written", to_body(gone)),))
    said = words_of(written(studio, Asked("invoice")), tmp_path)
    assert "Cancelled on 9 April 2026: nothing is to be paid on it." in said
