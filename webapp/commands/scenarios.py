"""`lodeworth scenarios`: the demo specimens."""

from __future__ import annotations

import argparse

from webapp.commands.output import REFUSED, Commands, complain


def add(commands: Commands) -> None:
    """Say how it is called."""
    shown = commands.add_parser(
        "scenarios", help="list the demo specimens, or print one", description="Demo specimens."
    )
    shown.add_argument("name", nargs="?", metavar="NAME", help="print this one's TOML, to start a file of your own")
    shown.set_defaults(run=_scenarios)


def _scenarios(options: argparse.Namespace) -> int:
    from scenarios import UnknownScenario, all_scenarios, scenario

    try:
        if options.name is not None:
            print(scenario(options.name).text, end="")
            return 0
    except UnknownScenario as unknown:
        complain(str(unknown))
        return REFUSED
    print("Demo specimens, all invented:")
    for one in all_scenarios():
        print(f"\n  {one.name}\n      {one.shows}")
    print("\nlodeworth quote NAME quotes one; lodeworth scenarios NAME prints its file.")
    return 0
