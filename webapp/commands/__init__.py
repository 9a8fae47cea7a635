"""The commands, one module each: ``add(commands)`` says how it is called, and names the function that runs it.

Such a module loads nothing heavy until it runs: every start pays for what is loaded here.
"""

from types import ModuleType

from webapp.commands import ask, audit, backup, evidence, lot, quote, record, scenarios, serve, sheet, spot, volatility

# In the order in which the help lists them.
COMMANDS: tuple[ModuleType, ...] = (
    quote,
    ask,
    lot,
    evidence,
    sheet,
    record,
    spot,
    volatility,
    serve,
    backup,
    audit,
    scenarios,
)
