"""Economy room: quantities become money, by item and quarter; nothing here feeds back into the orchard.

Entry points: :func:`draw_prices`, :func:`cash_flows`, :func:`indicators`, and :func:`establishment_schedule` for
what a plan costs before it runs. Amounts are estimates, no financial advice: check them with your own suppliers,
lender and accountant.
"""

from orchardsim.economy.blocks import BlockMoney, Outlay, establishment_schedule
from orchardsim.economy.cost_levels import CostLevels
from orchardsim.economy.indicators import Indicators, indicators
from orchardsim.economy.ledger import Ledger, cash_flows, smallest_reserve
from orchardsim.economy.parameters import IdleLand
from orchardsim.economy.prices import PricePaths, check_market, draw_prices, with_price_levels, with_price_slump
from orchardsim.economy.remarks import money_remarks

__all__ = [
    "BlockMoney",
    "CostLevels",
    "IdleLand",
    "Indicators",
    "Ledger",
    "Outlay",
    "PricePaths",
    "cash_flows",
    "check_market",
    "draw_prices",
    "establishment_schedule",
    "indicators",
    "money_remarks",
    "smallest_reserve",
    "with_price_levels",
    "with_price_slump",
]
