"""Economy room: quantities become money, by item and quarter; nothing here feeds back into the orchard.

Amounts are estimates, no financial advice: check them with your own suppliers, lender and accountant.
"""
