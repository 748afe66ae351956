"""The pages for owners and clients: what is agreed, what is typed wrongly, what is printed."""

from __future__ import annotations

from decimal import Decimal

import pytest

from quirewell.record.books import Rates
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.studio.studio import STUDIO
from web.conftest import ITEM, Bench

EVIL = '<script>alert("x")</script>'
RTL = "\u05d0\u05d1\u05d2 \u202eevil"


def send(bench: Bench, path: str, **form: str):  # type: ignore[no-untyped-def]
    return bench.client.post(bench.url(f"/owner{path}"), data=form, follow_redirects=True)


def rates(bench: Bench) -> None:
    body = to_body(Rates("rates-1", "GBP", Decimal(38)))
    bench.studio.append(STUDIO, None, (Draft(STUDIO, "rates.set", body),))


def quote(bench: Bench, **more: str):  # type: ignore[no-untyped-def]
    form = {"what-0": "Mending", "hours-0": "2", "amount-1": "4.15", "what-1": "Tissue"}
    return send(bench, "/quote", **{**form, "currency": "GBP", "rate": "38", **more})


def test_the_empty_page_says_what_to_do_and_prints_all_papers(bench: Bench) -> None:
    page = bench.client.get(bench.url("/owner"))
    assert page.status_code == 200
    assert "Take it into custody when it is somebody else" in page.text
    assert "No quote is made yet" in page.text
    for kind in ("custody", "proposal", "quote", "invoice", "return"):
        made = bench.client.get(bench.url(f"/owner/{kind}.pdf"))
        assert made.status_code == 200 and made.content.startswith(b"%PDF")
        assert made.headers["cache-control"] == "no-store"
    assert bench.client.get(bench.url("/owner/bill.pdf")).status_code == 404
    assert bench.client.get(bench.url("/owner/quote.pdf?paper=a3")).status_code == 404
    assert bench.client.get(bench.url("/owner/quote.pdf?names=no")).status_code == 404
    assert bench.client.get(bench.url("/owner/invoice.pdf?invoice=x")).status_code == 404


def test_custody_keeps_a_new_client_on_the_way_and_can_be_undone(bench: Bench) -> None:
    page = send(bench, "/take", new_client="Ada Fennimore", new_reach="4 Quern Lane",
                insured="450,00", currency="GBP", received_on="2026-03-02",
                **{"limit-0": "yes", "limits": "Keep the staples."})  # fmt: skip
    assert page.status_code == 200 and "what was agreed with its owner" in page.text
    held = bench.state.custodies["custody"]
    assert bench.studio.bench().clients[held.client].name == "Ada Fennimore"
    assert held.insured == Decimal("450.00") and len(held.limits) == 2
    assert "Ada Fennimore" in bench.client.get(bench.url()).text
    listed = bench.client.get("/clients").text
    assert "Ada Fennimore" in listed and f"/item/{ITEM}/owner" in listed
    assert "personal data" in listed
    again = send(bench, "/take", new_client="ADA fennimore", record="custody",
                 touched=str(bench.state.touched["custody"]))  # fmt: skip
    assert again.status_code == 200 and len(bench.studio.bench().clients) == 1
    last = bench.studio.events(ITEM)[-1]
    bench.client.post(bench.url("/undo"), data={"seq": str(last.seq)})
    assert bench.state.custodies["custody"].limits == held.limits


def test_a_refused_custody_keeps_no_client_and_shows_what_was_typed(bench: Bench) -> None:
    page = send(bench, "/take", new_client="Ada Fennimore", insured="-5", currency="GBP",
                **{"limit-1": "yes"})  # fmt: skip
    assert page.status_code == 422 and 'value="-5"' in page.text and "Ada Fennimore" in page.text
    assert bench.studio.bench().clients == {} and bench.state.custodies == {}
    assert 'name="limit-1" value="yes" checked' in page.text


@pytest.mark.parametrize(
    ("path", "form"),
    [
        ("/take", {"insured": "1e999", "currency": "GBP"}),
        ("/take", {"received_on": "31.03.2026"}),
        ("/take", {"client": "client-77"}),
        ("/take", {"new_client": "x" * 500}),
        ("/give-back", {"returned_on": "2026-03-31"}),
        ("/quote", {"what-0": EVIL, "amount-0": "-1", "currency": "GBP"}),
        ("/quote", {"what-0": "Work", "amount-0": "1e999", "currency": "GBP"}),
        ("/quote", {"what-0": "Work", "amount-0": "3", "currency": EVIL}),
        ("/quote", {"what-0": "Work", "hours-0": "2"}),
        ("/quote", {"what-0": " "}),
        ("/invoice", {"what-0": "Work", "amount-0": "3", "currency": "GBP"}),
        ("/invoice", {"number": "1", "what-0": "Work", "amount-0": "3", "currency": "GBP",
                      "tax_pct": "-1"}),
        ("/paid", {"id": "invoice-9", "paid_on": "2026-03-31"}),
        ("/quote-aside", {"id": EVIL}),
        ("/time", {"doing": EVIL, "minutes": "-3"}),
        ("/stop", {"minutes": ""}),
        ("/time-aside", {"id": "time-9"}),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_place(bench: Bench, path: str, form: dict[str, str]) -> None:
    before = bench.state.version
    page = send(bench, path, **form)
    assert page.status_code == 422 and "Not saved" in page.text
    assert EVIL not in page.text
    assert bench.state.version == before and bench.studio.bench().clients == {}


def test_a_quote_is_summed_and_held_against_the_time(bench: Bench) -> None:
    send(bench, "/take", received_on="2026-03-02")
    page = quote(bench, **{"amount-1": "4,15", "most": "100", "holds_until": "1936-05-01"})
    assert "Held until 1936-05-01" in page.text
    assert "80.15" in page.text and "stays within what was agreed" in page.text
    send(bench, "/time", doing="mending", minutes="1 h 36")
    near = bench.client.get(bench.url("/owner")).text
    assert "Near the limit" in near and "80 % of the hours quoted" in near
    assert "Near the limit agreed with its owner" in bench.client.get(bench.url()).text
    send(bench, "/time", doing="mending", minutes="24")
    reached = bench.client.get(bench.url()).text
    assert "is reached" in reached and "ring the owner" in reached


def test_the_timer_runs_on_over_a_reload_and_one_at_a_time(bench: Bench) -> None:
    send(bench, "/start", doing="washing")
    page = bench.client.get(bench.url("/owner")).text
    assert "The timer runs:" in page and "washing" in page
    assert send(bench, "/start", doing="mending").status_code == 422
    assert len(bench.state.times) == 1
    send(bench, "/stop", minutes="90")
    (one,) = bench.state.times.values()
    assert (one.minutes, bool(one.ended_at)) == (Decimal(90), True)
    assert "1.50 h noted" in bench.client.get(bench.url("/owner")).text


def test_an_invoice_from_time_and_costs_is_numbered_paid_and_cancelled(bench: Bench) -> None:
    rates(bench)
    send(bench, "/time", doing="mending", minutes="90")
    page = bench.client.get(bench.url("/owner")).text
    assert 'value="mending"' in page and 'value="1.50"' in page
    send(bench, "/invoice", number="2026-009", tax_pct="20", **{"what-0": "mending",
                                                                "hours-0": "1.5"})  # fmt: skip
    (held,) = bench.state.invoices.values()
    page = bench.client.get(bench.url("/owner")).text
    assert "68.40" in page and 'value="2026-010"' in page
    same = send(bench, "/invoice", number="2026-009", **{"what-0": "x", "amount-0": "1"})
    assert same.status_code == 422 and "given out before" in same.text
    send(bench, "/paid", id=held.id, paid_on="2026-04-01")
    send(bench, "/cancel", id=held.id, cancelled_on="2026-04-02")
    assert "Cancelled on 2026-04-02" in bench.client.get(bench.url("/owner")).text
    pdf = bench.client.get(bench.url(f"/owner/invoice.pdf?invoice={held.id}"))
    assert pdf.content.startswith(b"%PDF")


def test_tags_and_right_to_left_names_stay_words(bench: Bench) -> None:
    send(bench, "/take", new_client=f"{EVIL} {RTL}", new_reach=EVIL, limits=EVIL, condition=RTL)
    quote(bench, **{"what-0": EVIL, "note": RTL})
    for path in (bench.url("/owner"), bench.url(), "/clients"):
        page = bench.client.get(path)
        assert page.status_code == 200 and EVIL not in page.text
        assert "&lt;script&gt;" in page.text
    assert bench.client.get(bench.url("/owner/custody.pdf")).status_code == 200


def test_a_stale_custody_form_is_shown_beside_what_was_saved(bench: Bench) -> None:
    send(bench, "/take", received_on="2026-03-02")
    stale = send(bench, "/take", received_on="2026-03-05", record="custody", touched="0")
    assert stale.status_code == 409
    assert bench.state.custodies["custody"].received_on == "2026-03-02"


def test_a_quote_begins_with_the_option_that_was_weighed_best(bench: Bench) -> None:
    from quirewell.stages.methods import run_method

    rates(bench)
    options = "option,kind,hours,materials,works_pct\nMend it,own,3,5,90\n"
    params = {"grade": "3", "low": "400", "likely": "800", "high": "1600", "currency": "GBP",
              "hour": "1", "options": options}  # fmt: skip
    run = run_method("options.weigh", "plan", {}, params=params)
    bench.studio.append(ITEM, None, (Draft(ITEM, "run.recorded", to_body(run)),))
    body = {"option": "Full treatment", "run": run.id}
    bench.studio.append(ITEM, None, (Draft(ITEM, "choice.made", body),))
    page = bench.client.get(bench.url("/owner")).text
    hours = next(
        one.value for one in run.findings
        if (one.quantity, one.subject) == ("options.hours", "Full treatment")
    )  # fmt: skip
    assert hours is not None
    assert 'value="Full treatment"' in page and f'value="{hours:.1f}"' in page


def test_clients_are_changed_set_aside_and_refused(bench: Bench) -> None:
    def keep(**form: str):  # type: ignore[no-untyped-def]
        return bench.client.post("/clients/keep", data=form, follow_redirects=True)

    assert keep(name="Bran Tolliver", reach="by the mill").status_code == 200
    (known,) = bench.studio.bench().clients
    assert keep(name="bran tolliver").status_code == 422
    assert keep(name="").status_code == 422
    odd = keep(name="y" * 121, reach=EVIL)
    assert odd.status_code == 422 and EVIL not in odd.text and "y" * 121 in odd.text
    assert keep(id=known, name="Bran Tolliver", reach="at the weir").status_code == 200
    assert bench.studio.bench().clients[known].reach == "at the weir"
    bench.client.post("/clients/aside", data={"id": known})
    assert bench.studio.bench().clients == {}
    gone = bench.client.post("/clients/aside", data={"id": known})
    assert gone.status_code == 422
