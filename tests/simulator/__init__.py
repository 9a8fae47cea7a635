"""Forward physics of a weighed specimen: from an invented truth to the readings an honest user would type.

Written apart from `valuation` and importing nothing of it, so that coverage of its ranges is no circle.
"""
