"""The evidence packet of a car of the demo says what its page says, and is a document for the archive.

PDF/A-2a: ISO 19005-2 (identification 6.6.4, encryption 6.1.3, output intent 6.2.3, fonts 6.2.11, actions 6.5, logical
structure 6.7); PDF/UA-1: ISO 14289-1. No checker of all of PDF/A is at hand, so its structure is looked at here with
another library than the one that makes it; `pdfua` checks a part of PDF/UA-1 by itself.
"""

import csv
import io
import json
import re
from hashlib import sha256
from html import unescape
from pathlib import Path
from zipfile import ZipFile

import pdfua
import pikepdf
import pytest
from fastapi.testclient import TestClient

from tests.files.packet_reading import Pdf, in_order, squashed

# Cars of the tour by what they show (seed_demo/README.md).
SHOWN = {
    "overdue": 102, "nothing to count from": 106, "condemned": 125, "lined": 140, "two relief valves": 150,
    "approval": 164, "re-marked": 974, "withdrawn": 178, "directive": 213, "ton tank": 181, "cryogenic": 182,
}  # fmt: skip
ACTING = (
    "/JavaScript", "/JS", "/AA", "/OpenAction", "/EmbeddedFiles", "/Launch", "/RichMedia",
)  # fmt: skip
XMP = {
    "http://www.aiim.org/pdfa/ns/id/": {"part": "2", "conformance": "A"},
    "http://www.aiim.org/pdfua/ns/id/": {"part": "1"},
}


def key_of(client: TestClient, number: int) -> int:
    page = client.get(f"/fleet?q=ZQTX+{number}&standing=all").text
    return int(re.findall(r'class="car" href="/cars/(\d+)', page)[0])


def asked(client: TestClient, number: int, query: str = "") -> tuple[str, Pdf, bytes]:
    """The page of a car and its packet, seen from the same day and moment."""
    address = f"/cars/{key_of(client, number)}"
    page, packet = client.get(f"{address}{query}"), client.get(f"{address}/evidence.pdf{query}")
    assert (page.status_code, packet.status_code) == (200, 200)
    return page.text, Pdf(packet.content), packet.content


def said(page: str) -> list[str]:
    """Every due item and directive of a car's page, with status, day and each piece of the reasons."""
    told: list[str] = []
    for title in ("due-title", "devices-title", "directives-title"):
        section = page.partition(f'id="{title}"')[2].partition("</section>")[0]
        for row in re.findall(r"<tr.*?</tr>", section.partition("<tbody>")[2], re.DOTALL):
            without = re.sub(
                r'<span class="small">and \d+ more</span>|<span class="flag">.*?</span>|'
                r'<span class="below">now on .*?</span>',
                "",
                row,
            )
            pieces = [unescape(each).strip(" .\n:") for each in re.split(r"<[^>]+>", without)]
            told += [each for each in pieces if each and each != "–"]
    return told


@pytest.mark.parametrize("number", SHOWN.values(), ids=SHOWN.keys())
def test_the_packet_holds_every_due_item_and_reason_of_the_page(
    demo_client: TestClient, number: int
) -> None:
    page, packet, _ = asked(demo_client, number)
    told = said(page)
    assert len(told) > 10
    assert [each for each in told if squashed(each) not in packet.words] == []


@pytest.mark.parametrize("number", [102, 150, 177])
def test_looked_back_at_it_says_what_the_page_looked_back_at_says(
    demo_client: TestClient, number: int
) -> None:
    for query in ("?as_of=2020-06-01", "?as_of=2031-01-01"):
        page, packet, _ = asked(demo_client, number, query)
        assert [each for each in said(page) if squashed(each) not in packet.words] == []
        assert squashed(f"As of {query[-10:]}, as known now") in packet.words


@pytest.fixture(scope="module")
def made(demo_client: TestClient) -> tuple[Pdf, bytes]:
    """The packet of a car with readings of several days, valves and a correction, by the fixed name of the demo."""
    _, pdf, content = asked(demo_client, 177)
    return pdf, content


def test_it_is_marked_as_a_document_for_the_archive(made: tuple[Pdf, bytes]) -> None:
    pdf, _ = made
    told = pdf.root["/Metadata"].get_data().decode()
    for space, values in XMP.items():
        prefix = re.findall(rf'xmlns:(\w+)="{re.escape(space)}"', told)[0]
        for name, value in values.items():
            assert f"<{prefix}:{name}>{value}</{prefix}:{name}>" in told
    [intent] = pdf.root["/OutputIntents"]
    assert intent.get_object()["/S"] == "/GTS_PDFA1"
    assert "/DestOutputProfile" in intent.get_object()
    assert not pdf.reader.is_encrypted
    assert pdf.root["/Lang"] == "en"
    assert pdf.root["/MarkInfo"]["/Marked"]
    assert pdf.root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert pdf.reader.metadata.title == "Evidence packet: ZQTX 177"


def test_it_holds_its_fonts_and_nothing_that_acts(made: tuple[Pdf, bytes]) -> None:
    pdf, content = made
    fonts = [each for each in pdf.dictionaries if each.get("/Type") == "/FontDescriptor"]
    assert fonts
    assert all({"/FontFile2", "/FontFile3"} & set(each) for each in fonts)
    names = {name for each in pdf.dictionaries for name in each}
    assert not names & set(ACTING)
    actions = {each["/S"] for each in pdf.dictionaries if each.get("/Type") == "/Action"}
    assert actions <= {"/GoTo"}
    with pikepdf.open(io.BytesIO(content)) as opened:
        assert opened.check_pdf_syntax() == []


def test_the_part_of_pdf_ua_that_a_checker_of_others_knows_finds_no_fault(
    made: tuple[Pdf, bytes], tmp_path: Path
) -> None:
    path = tmp_path / "packet.pdf"
    path.write_bytes(made[1])
    report = pdfua.validate(str(path))
    assert report.findings == ()
    # That of empty headings ends at an array where it looks for a dictionary; they are looked at below.
    assert {each.rule_id for each in report.skipped} <= {"UA-14-001"}


def test_its_tags_stand_in_the_order_in_which_it_is_read(
    made: tuple[Pdf, bytes], demo_client: TestClient
) -> None:
    pdf, _ = made
    pieces = [each.piece for each in pdf.tagged]
    # Page by page as it is drawn; of a row that goes on overleaf each cell is read to its end first.
    for page in range(len(pdf.reader.pages)):
        here = [each for each in pieces if each[0] == page]
        assert here == sorted(here)
    # All that is drawn is tagged or an artifact.
    assert set(pieces) == set(pdf.pieces)
    headings = [each.text for each in pdf.tagged if each.tag in ("H1", "H2") and each.text.strip()]
    assert headings[:5] == [
        "Contents",
        "ZQTX 177",
        "May it be loaded?",
        "Due items",
        "Why these dates",
    ]
    assert all(headings)
    item, *_ = said(demo_client.get(f"/cars/{key_of(demo_client, 177)}").text)
    in_order(
        [
            "Evidence packet", "ZQTX 177", "Due dates are an aid", "Record of change", "Contents", "May it be loaded?",
            "Due items", item, "Why these dates", item, "The rule asks", "Directives", "No directive is known",
            "Facts", "Mark and number", "Approvals", "Thickness", "Reading", "Readings over the years",
            "Reports of inspections", "Type of test or inspection", "Station code of the facility",
            "Inspections and changes", "Components", "Photographs", "Corrections", "0.374",
        ],
        pdf.words.replace("EVIDENCEPACKET", "Evidencepacket"),
    )  # fmt: skip


def test_every_drawing_is_told_in_words_and_every_table_has_its_head(
    made: tuple[Pdf, bytes],
) -> None:
    pdf, _ = made
    figures, tables = pdf.elements("Figure"), pdf.elements("Table")
    assert len(figures) >= 4
    assert all(str(each["/Alt"]).strip() for each in figures)
    assert any("above line C" in each["/Alt"] or "line" in each["/Alt"] for each in figures)
    assert len(tables) > 5
    assert len(pdf.elements("THead")) == len(tables)
    assert {"Title", "TOC", "L", "LI", "Document"} <= pdf.kinds


def test_the_zip_file_holds_the_same_for_programs_and_its_sums_are_right(
    demo_client: TestClient,
) -> None:
    key = key_of(demo_client, 177)
    first = demo_client.get(f"/cars/{key}/evidence.zip").content
    assert demo_client.get(f"/cars/{key}/evidence.zip").content == first
    with ZipFile(io.BytesIO(first)) as zipped:
        sums = dict(
            reversed(line.split("  ")) for line in zipped.read("SHA256SUMS").decode().splitlines()
        )
        assert set(sums) == set(zipped.namelist()) - {"SHA256SUMS"}
        assert all(sha256(zipped.read(name)).hexdigest() == digest for name, digest in sums.items())
        told = json.loads(zipped.read(f"cars/ZQTX-177-{key}.json"))
        table = list(csv.DictReader(io.StringIO(zipped.read("due.csv").decode("utf-8-sig"))))
        head = json.loads(zipped.read("head.json"))
        pdf = Pdf(zipped.read("packet.pdf"))
    assert [(row["item"], row["due_on"]) for row in table] == [
        (each["item"], each["due_on"] or "") for each in told["due"]
    ]
    assert all(
        reason["text"] in row["reasons"]
        for row, due in zip(table, told["due"], strict=True)
        for reason in due["reasons"]
    )
    assert squashed(head["hash"]) in pdf.words
    assert squashed(f"Entry {head['entry']}, the last of {head['entries']}") in pdf.words
