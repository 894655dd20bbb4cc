"""The rows of the stock: parts and drawers, moves, suppliers and orders, tubes, bench gear, imports."""

from inventory.models.bench import BenchGear, Loan
from inventory.models.imports import Import, ImportLine
from inventory.models.orders import Offer, Order, OrderLine, Supplier, Want
from inventory.models.parts import Drawer, Kind, Part
from inventory.models.stock import Aside, CountLine, CountRound, Move
from inventory.models.tubes import Tube, TubeReading, TubeSet

__all__ = [
    "Aside",
    "BenchGear",
    "CountLine",
    "CountRound",
    "Drawer",
    "Import",
    "ImportLine",
    "Kind",
    "Loan",
    "Move",
    "Offer",
    "Order",
    "OrderLine",
    "Part",
    "Supplier",
    "Tube",
    "TubeReading",
    "TubeSet",
    "Want",
]
