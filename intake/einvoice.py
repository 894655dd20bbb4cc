"""Electronic invoices: EN 16931 as Cross Industry Invoice (UN/CEFACT CII D16B), to be embedded in a PDF/A-3.

`cii()` is pure: what an invoice said goes in, XML comes out. What a stored invoice said is read by `said_by()`.

How our bills are told in the words of EN 16931:

- Prices are without tax there. Where the shop's have it in them, a line's price is worked back from its net.
- Discounts are shared out over the lines, so a line's share is an allowance on that line (BG-27); there are no
  allowances on the document, and the lines' nets add up to the invoice's (BR-CO-10).
- A line bears one rate of VAT there. An invoice on which a line bears two can't be told, and is refused.
- Categories (UNTDID 5305): S for a rate above nothing, Z for a rate of nothing; E, with the reason, for an
  exempt buyer and for a line on which the shop charges no tax though it has a VAT number; O, not subject to
  VAT, where no tax is charged at all by a shop without a VAT number.
- A credit note is a document of type 381 with positive sums, that names its invoice (BT-25).

Sales tax as in the United States is no VAT, and EN 16931 has no use there: this is for shops whose country or
customers ask for it. Which invoices must be electronic differs by place.
"""

import datetime as dt
import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final
from xml.etree import ElementTree

from intake import billing
from intake.models import Invoice, InvoiceLine
from intake.models.bills import LineKind
from shop import money
from shop.errors import Refused
from shop.models import Shop

PROFILE: Final = "urn:cen.eu:en16931:2017"
FILE_NAME: Final = "factur-x.xml"  # the name by which a reader of the hybrid PDF finds it

_RSM: Final = "urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100"
_RAM: Final = "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100"
_UDT: Final = "urn:un:unece:uncefact:data:standard:UnqualifiedDataType:100"
_QDT: Final = "urn:un:unece:uncefact:data:standard:QualifiedDataType:100"
for _prefix, _uri in (("rsm", _RSM), ("ram", _RAM), ("udt", _UDT), ("qdt", _QDT)):
    ElementTree.register_namespace(_prefix, _uri)

_HOUR, _PIECE = "HUR", "C62"  # UN/ECE Recommendation 20
_NO_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class CantTell(Refused):
    """This invoice can't be told in the words of EN 16931; the sentence says why."""


# --- What is told ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Party:
    name: str
    address: str
    country: str
    tax_number: str = ""


@dataclass(frozen=True)
class Vat:
    """A category of VAT with its rate: BT-151 and BT-152, BT-118 and BT-119."""

    category: str
    percent: Decimal = Decimal(0)
    reason: str = ""


@dataclass(frozen=True)
class Item:
    """A line, without tax: `quantity` times `price` less `allowance` is `net` (but for rounding of the price)."""

    name: str
    quantity: Decimal
    unit: str
    price: Decimal
    allowance: Decimal
    allowance_reason: str
    net: Decimal
    vat: Vat


@dataclass(frozen=True)
class VatSum:
    vat: Vat
    base: Decimal
    tax: Decimal


@dataclass(frozen=True)
class Said:
    """All that the electronic form of an invoice says."""

    label: str
    is_credit: bool
    issued_on: dt.date
    currency: str
    seller: Party
    buyer: Party
    notes: tuple[str, ...]
    items: tuple[Item, ...]
    vat: tuple[VatSum, ...]
    net: Decimal
    gross: Decimal
    credits: str = ""
    credits_issued_on: dt.date | None = None


def missing(shop: Shop) -> list[str]:
    """What the shop's settings still lack before invoices can be made in electronic form."""
    wanted = {
        "the address": shop.address.strip(),
        "the country": shop.country,
        "the tax number": shop.tax_number.strip(),
    }
    lacking = [name for name, value in wanted.items() if not value]
    if money.decimals(shop.currency) > 2:
        lacking.append("a currency with at most two decimals")
    return lacking


def said_by(invoice: Invoice, shop: Shop) -> Said:
    """Read what a stored invoice said. What it doesn't say, its country, is the shop's.

    Raises:
        CantTell: something that EN 16931 asks for is missing, or it knows no words for what it says.
    """
    if lacking := missing(shop):
        raise CantTell(f"Electronic invoices need {' and '.join(lacking)} in the shop's settings first.")
    if money.decimals(invoice.currency) > 2:
        raise CantTell("EN 16931 has two decimals at most; this currency has more.")
    if not invoice.buyer.get("name"):
        raise CantTell("An electronic invoice names its buyer. This one was sold to nobody by name.")
    country = invoice.seller.get("country") or shop.country
    seller = Party(
        invoice.seller["name"],
        invoice.seller.get("address") or shop.address,
        country,
        (invoice.seller.get("tax_number") or shop.tax_number).replace(" ", ""),
    )
    buyer = Party(
        invoice.buyer["name"], invoice.buyer.get("address", ""), invoice.buyer.get("country") or country
    )
    items = _items(invoice, seller)
    if not items:
        raise CantTell("An electronic invoice has at least one line. This one charges nothing.")
    return Said(
        label=invoice.label,
        is_credit=invoice.kind == Invoice.Kind.CREDIT_NOTE,
        issued_on=invoice.issued_on,
        currency=invoice.currency,
        seller=seller,
        buyer=buyer,
        notes=tuple(note for note in (invoice.what, invoice.words, invoice.reason, invoice.warranty) if note),
        items=items,
        vat=_vat_sums(items, invoice),
        net=invoice.net,
        gross=invoice.gross,
        credits=invoice.credits.label if invoice.credits else "",
        credits_issued_on=invoice.credits.issued_on if invoice.credits else None,
    )


def _items(invoice: Invoice, seller: Party) -> tuple[Item, ...]:
    left = billing.left_of(invoice)
    has_tax = any(each.taxes for each in left.values())
    return tuple(
        _item(line, left[line.pk], invoice, _vat_of(left[line.pk], invoice, seller, has_tax))
        for line in invoice.lines.all()
        if line.kind != LineKind.DISCOUNT
    )


def _vat_of(left: billing.Left, invoice: Invoice, seller: Party, has_tax: bool) -> Vat:
    if len(left.taxes) > 1:
        raise CantTell("A line of this invoice bears two taxes; EN 16931 has one rate of VAT for each line.")
    if left.taxes:
        percent = left.taxes[0][0].percent
        return Vat("S" if percent else "Z", percent)
    if invoice.exempt_number:
        return Vat("E", reason=f"Tax exemption number {invoice.exempt_number}")
    if has_tax or is_vat_number(seller):
        return Vat("E", reason="No tax falls on this")
    return Vat("O", reason="Not subject to VAT")


def is_vat_number(seller: Party) -> bool:
    """Whether the tax number is one for VAT: it begins with its country (BR-CO-9); Greece writes EL."""
    prefix = "EL" if seller.country == "GR" else seller.country
    return bool(prefix) and seller.tax_number.upper().startswith(prefix)


def _item(line: InvoiceLine, left: billing.Left, invoice: Invoice, vat: Vat) -> Item:
    quantity = line.quantity
    if invoice.prices_include_tax or invoice.kind == Invoice.Kind.CREDIT_NOTE:
        # The net is what counts; a price of six decimals gives it again, rounded.
        price, allowance, reason = round(left.net / quantity, 6), Decimal(0), ""
    else:
        full = money.round_to(quantity * line.unit_price, invoice.currency)
        price, allowance = line.unit_price, full - left.net
        reason = "Under warranty" if line.under_warranty else "Discount"
    return Item(
        name=line.text,
        quantity=quantity,
        unit=_HOUR if line.unit == "h" else _PIECE,
        price=price,
        allowance=allowance,
        allowance_reason=reason,
        net=left.net,
        vat=vat,
    )


def _vat_sums(items: tuple[Item, ...], invoice: Invoice) -> tuple[VatSum, ...]:
    """The breakdown by category and rate (BG-23). The tax of each rate is the one that the invoice says."""
    bases: dict[Vat, Decimal] = {}
    for item in items:
        bases[item.vat] = bases.get(item.vat, Decimal(0)) + item.net
    taxes: dict[Decimal, Decimal] = {}
    for tax in invoice.taxes:
        percent = Decimal(tax["percent"])
        taxes[percent] = taxes.get(percent, Decimal(0)) + Decimal(tax["tax"])
    return tuple(
        VatSum(vat, base, taxes.get(vat.percent, Decimal(0)) if vat.category == "S" else Decimal(0))
        for vat, base in bases.items()
    )


# --- The XML ---------------------------------------------------------------------------------------------


def cii(said: Said) -> bytes:
    """Write it as CII, in the order of its schema. UTF-8, with its declaration."""
    root = ElementTree.Element(f"{{{_RSM}}}CrossIndustryInvoice")
    context = _in(root, "rsm:ExchangedDocumentContext")
    _in(context, "ram:GuidelineSpecifiedDocumentContextParameter/ram:ID", PROFILE)

    document = _in(root, "rsm:ExchangedDocument")
    _in(document, "ram:ID", said.label)
    _in(document, "ram:TypeCode", "381" if said.is_credit else "380")
    _date(_in(document, "ram:IssueDateTime"), said.issued_on)
    for note in said.notes:
        _in(document, "ram:IncludedNote/ram:Content", note)

    trade = _in(root, "rsm:SupplyChainTradeTransaction")
    for number, item in enumerate(said.items, start=1):
        _line(trade, number, item, said.currency)
    agreement = _in(trade, "ram:ApplicableHeaderTradeAgreement")
    _party(_in(agreement, "ram:SellerTradeParty"), said.seller, said)
    _party(_in(agreement, "ram:BuyerTradeParty"), said.buyer, said)
    delivered = _in(trade, "ram:ApplicableHeaderTradeDelivery/ram:ActualDeliverySupplyChainEvent")
    _date(_in(delivered, "ram:OccurrenceDateTime"), said.credits_issued_on or said.issued_on)
    _settlement(_in(trade, "ram:ApplicableHeaderTradeSettlement"), said)
    ElementTree.indent(root)
    return ElementTree.tostring(root, encoding="UTF-8", xml_declaration=True)


def _line(trade: ElementTree.Element, number: int, item: Item, currency: str) -> None:
    line = _in(trade, "ram:IncludedSupplyChainTradeLineItem")
    _in(line, "ram:AssociatedDocumentLineDocument/ram:LineID", str(number))
    _in(line, "ram:SpecifiedTradeProduct/ram:Name", item.name)
    price = _in(line, "ram:SpecifiedLineTradeAgreement/ram:NetPriceProductTradePrice")
    _in(price, "ram:ChargeAmount", _number(item.price))
    _in(line, "ram:SpecifiedLineTradeDelivery/ram:BilledQuantity", _number(item.quantity), unitCode=item.unit)
    settled = _in(line, "ram:SpecifiedLineTradeSettlement")
    tax = _in(settled, "ram:ApplicableTradeTax")
    _in(tax, "ram:TypeCode", "VAT")
    _in(tax, "ram:CategoryCode", item.vat.category)
    _rate(tax, item.vat)
    if item.allowance:
        allowance = _in(settled, "ram:SpecifiedTradeAllowanceCharge")
        _in(allowance, "ram:ChargeIndicator/udt:Indicator", "false")
        _in(allowance, "ram:ActualAmount", _sum(item.allowance, currency))
        _in(allowance, "ram:Reason", item.allowance_reason)
    together = _in(settled, "ram:SpecifiedTradeSettlementLineMonetarySummation")
    _in(together, "ram:LineTotalAmount", _sum(item.net, currency))


def _party(at: ElementTree.Element, party: Party, said: Said) -> None:
    vat_known = is_vat_number(party) and not any(each.vat.category == "O" for each in said.vat)
    if party.tax_number and not vat_known:
        _in(at, "ram:ID", party.tax_number)  # BT-29: some identifier there must be (BR-CO-26)
    _in(at, "ram:Name", party.name)
    address = _in(at, "ram:PostalTradeAddress")
    lines = [line.strip() for line in party.address.splitlines() if line.strip()]
    lines = [*lines[:2], ", ".join(lines[2:])] if len(lines) > 3 else lines
    for name, line in zip(("LineOne", "LineTwo", "LineThree"), lines, strict=False):
        _in(address, f"ram:{name}", line)
    _in(address, "ram:CountryID", party.country)
    if vat_known:
        _in(at, "ram:SpecifiedTaxRegistration/ram:ID", party.tax_number, schemeID="VA")
    elif party.tax_number and not any(each.vat.category == "O" for each in said.vat):
        _in(at, "ram:SpecifiedTaxRegistration/ram:ID", party.tax_number, schemeID="FC")


def _settlement(at: ElementTree.Element, said: Said) -> None:
    currency = said.currency
    _in(at, "ram:InvoiceCurrencyCode", currency)
    for each in said.vat:
        tax = _in(at, "ram:ApplicableTradeTax")
        _in(tax, "ram:CalculatedAmount", _sum(each.tax, currency))
        _in(tax, "ram:TypeCode", "VAT")
        if each.vat.reason:
            _in(tax, "ram:ExemptionReason", each.vat.reason)
        _in(tax, "ram:BasisAmount", _sum(each.base, currency))
        _in(tax, "ram:CategoryCode", each.vat.category)
        _rate(tax, each.vat)
    _date(_in(at, "ram:SpecifiedTradePaymentTerms/ram:DueDateDateTime"), said.issued_on)
    sums = _in(at, "ram:SpecifiedTradeSettlementHeaderMonetarySummation")
    _in(sums, "ram:LineTotalAmount", _sum(sum((item.net for item in said.items), Decimal(0)), currency))
    _in(sums, "ram:TaxBasisTotalAmount", _sum(said.net, currency))
    _in(sums, "ram:TaxTotalAmount", _sum(said.gross - said.net, currency), currencyID=currency)
    _in(sums, "ram:GrandTotalAmount", _sum(said.gross, currency))
    _in(sums, "ram:DuePayableAmount", _sum(said.gross, currency))
    if said.credits:
        before = _in(at, "ram:InvoiceReferencedDocument")
        _in(before, "ram:IssuerAssignedID", said.credits)
        if said.credits_issued_on:
            day = _in(before, "ram:FormattedIssueDateTime")
            _in(day, "qdt:DateTimeString", f"{said.credits_issued_on:%Y%m%d}", format="102")


def _rate(at: ElementTree.Element, vat: Vat) -> None:
    if vat.category != "O":  # what isn't subject to VAT has no rate (BR-O-05)
        _in(at, "ram:RateApplicablePercent", _number(vat.percent))


def _date(at: ElementTree.Element, day: dt.date) -> None:
    _in(at, "udt:DateTimeString", f"{day:%Y%m%d}", format="102")


_SPACES: Final = {"rsm": _RSM, "ram": _RAM, "udt": _UDT, "qdt": _QDT}


def _in(
    at: ElementTree.Element, path: str, text: str | None = None, **attributes: str
) -> ElementTree.Element:
    """Add an element, or a chain of them, and return the last."""
    for step in path.split("/"):
        prefix, _, name = step.partition(":")
        at = ElementTree.SubElement(at, f"{{{_SPACES[prefix]}}}{name}")
    at.attrib.update(attributes)
    if text is not None:
        at.text = _NO_XML.sub("", text)
    return at


def _sum(amount: Decimal, currency: str) -> str:
    return f"{money.round_to(amount, currency):f}"


def _number(value: Decimal) -> str:
    return f"{value.normalize():f}"


# --- The PDF's own words about it ------------------------------------------------------------------------


def xmp() -> bytes:
    """What the PDF's metadata says of the embedded invoice, with the schema that PDF/A asks for such words."""
    space = "urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#"
    properties = "".join(
        f'<rdf:li rdf:parseType="Resource"><pdfaProperty:name>{name}</pdfaProperty:name>'
        "<pdfaProperty:valueType>Text</pdfaProperty:valueType>"
        "<pdfaProperty:category>external</pdfaProperty:category>"
        f"<pdfaProperty:description>{words}</pdfaProperty:description></rdf:li>"
        for name, words in (
            ("DocumentFileName", "name of the embedded XML file"),
            ("DocumentType", "what the document is"),
            ("Version", "version of the schema of the XML data"),
            ("ConformanceLevel", "profile of the XML data"),
        )
    )
    return (
        f'<rdf:Description rdf:about="" xmlns:fx="{space}"><fx:DocumentType>INVOICE</fx:DocumentType>'
        f"<fx:DocumentFileName>{FILE_NAME}</fx:DocumentFileName><fx:Version>1.0</fx:Version>"
        "<fx:ConformanceLevel>EN 16931</fx:ConformanceLevel></rdf:Description>"
        '<rdf:Description rdf:about="" xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"'
        ' xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#"'
        ' xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#"><pdfaExtension:schemas><rdf:Bag>'
        '<rdf:li rdf:parseType="Resource">'
        "<pdfaSchema:schema>Factur-X PDFA Extension Schema</pdfaSchema:schema>"
        f"<pdfaSchema:namespaceURI>{space}</pdfaSchema:namespaceURI>"
        f"<pdfaSchema:prefix>fx</pdfaSchema:prefix><pdfaSchema:property><rdf:Seq>{properties}</rdf:Seq>"
        "</pdfaSchema:property></rdf:li></rdf:Bag></pdfaExtension:schemas></rdf:Description>"
    ).encode()
