"""A number, its unit, its uncertainty and its budget, always together."""

from wattproof.quantity.ledger import Ledger, Uncertain
from wattproof.quantity.model import BudgetLine, Quantity, correlation
from wattproof.quantity.text import interval_text, value_text

__all__ = ["BudgetLine", "Ledger", "Quantity", "Uncertain", "correlation", "interval_text", "value_text"]
