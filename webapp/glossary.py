"""Words of the trade and of this program, each explained once: the method page and the README show this list."""

from __future__ import annotations

import re
from typing import NamedTuple


class Word(NamedTuple):
    """A word and what it means here."""

    word: str
    meaning: str

    @property
    def anchor(self) -> str:
        """Its place on the method page."""
        return "word-" + re.sub(r"[^a-z]+", "-", self.word).strip("-")


GLOSSARY = (
    Word("advance", "part of the price paid now; the rest follows when the refiner has paid"),
    Word("all in", "with everything that is paid on top of a price: fee, shipping, tax, exchange"),
    Word("asking price", "what the seller, or an advertisement, wants for the piece"),
    Word("assay", "a laboratory's finding of how much metal is in a lot"),
    Word("assumption", "a value that nobody entered; the quote prints it with its source"),
    Word("caution", "something doubtful that does not stop the quote, told beside the figure"),
    Word("ceiling", "the most that the house can pay in cash; by margin or by risk, whichever is less"),
    Word("chance of loss", "how often a purchase may bring less than it cost"),
    Word("chip", "a gold-free bit of the same rock, weighed to learn the rock's density"),
    Word("claim", "so much gold as somebody says is in the piece"),
    Word("comparable sale", "what was paid for a like piece, held against the melt value of that day"),
    Word("consign", "to sell the piece for the seller, who owns it until it is sold, for a commission"),
    Word("cost of capital", "interest on money that is tied up; it makes later money worth less today"),
    Word("cost of doubt", "how much more the house could pay if nothing were doubtful"),
    Word("counter view", "the page turned to the seller: weighings, gold, price and one offer, nothing private"),
    Word("density", "mass for its size, in g/cm³: vein quartz about 2.63, native gold about 17"),
    Word(
        "displaced",
        "weighed by what a vessel of water on the balance gains when the piece hangs in it",
    ),
    Word("doubt", "the spread of a figure: how far the truth may lie from it"),
    Word("draws", "the quote is worked out thousands of times, each time with doubtful inputs drawn from their ranges"),
    Word("evidence", "what one more test would tell, held against what it costs before it is made"),
    Word("fair range", "the prices at which both sides gain, without the quarter of the gain at each end"),
    Word("fine gold", "the pure gold in the piece, apart from the silver and copper that it is alloyed with"),
    Word("fineness", "share of pure gold in native gold, by mass; 0.85 is 850 parts per thousand"),
    Word("floor", "the least that the seller should take: what the seller's best alternative brings"),
    Word("gap", "by how much the floor is above the ceiling; then no cash price is fair"),
    Word("handling", "what the piece costs the house in work and care"),
    Word("house", "the shop that buys; the house view shows what only it should know"),
    Word("limit of detection", "the least gold that a weighing sees 19 times in 20"),
    Word("line", "the thread or wire that the piece hangs from"),
    Word("linearity", "how far a balance's scale bends between zero and full load"),
    Word("margin", "profit that the house needs, as a share of what it pays out"),
    Word("median", "the middle of all draws: half lie above it, half below"),
    Word("melt value", "fine gold at spot, before anybody is paid"),
    Word("meniscus", "the rim of water that climbs the line and pulls at it"),
    Word("middle", "the price at which both sides gain alike"),
    Word("minimum deduction", "gold that the refiner keeps back at the least"),
    Word("native gold", "gold as nature alloyed it, with silver and a little copper"),
    Word("notice", "what every quote prints, whatever its figures"),
    Word("payable", "share of the assayed gold that the refiner pays for; it may rise in tiers with the lot"),
    Word("piece, specimen", "what lies on the counter: rock with gold in it"),
    Word("plan", "where each side opens, what it aims for, where it stops"),
    Word("premium", "what a collector pays over melt value for the piece as it is; 60 % is 1.6 times melt value"),
    Word("quality, grade", "something that collectors pay for, and how much of it a piece has, judged by eye"),
    Word("range", "where the truth lies 95 times in 100, if what was entered holds"),
    Word("readability", "the smallest step that a balance shows"),
    Word("recovery", "share of the gold that refining gets out of the rock, so that it can be assayed"),
    Word("repeatability", "how repeated readings scatter (standard deviation)"),
    Word("rock, host", "what holds the gold, mostly quartz; its density decides most"),
    Word("scenario, demo", "an invented piece with invented terms that shows one thing"),
    Word("sd", "standard deviation: about two thirds of a normal spread lie within one of the middle"),
    Word("seen", "the weighing shows more gold than bare rock could feign"),
    Word("settlement", "the refiner's statement, line by line, and the day when it is paid"),
    Word("span", "how far the whole scale of a balance is stretched; a known weight shows it"),
    Word("specific gravity", "how many times as heavy as the same volume of water"),
    Word("spot", "the price of pure metal now"),
    Word("sulphides", "heavy metallic minerals such as pyrite, arsenopyrite and galena; they weigh like hidden gold"),
    Word("surplus", "what there is to share: ceiling less floor"),
    Word("suspended", "weighed by what the piece loses when it hangs from the balance into water"),
    Word("treatment charge", "what a refiner takes for each kilogram of the piece"),
    Word("troy ounce (ozt)", "the ounce of precious metals, 31.1034768 g"),
    Word("voids", "closed pores and hollows that water does not reach; they hide gold from the balance"),
    Word("volatility", "how much the price of a metal moves in a year (standard deviation of its log change)"),
    Word("way out, route", "what the house can do with the piece: refine it, or sell it as it is"),
    Word("working", "the arithmetic of a figure, as one would do it with a pocket calculator"),
)
