"""Canonical JSON against the worked examples of RFC 8785 (June 2020) and the digests of FIPS 180-4."""

import json
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.canonical_json import canonical, digest, read_once, short

# RFC 8785, appendix B, "Number Serialization Samples": IEEE 754 bits and the text.
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize("bits", NUMBERS)
def test_numbers_of_the_standard(bits: str) -> None:
    (x,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(x).decode() == NUMBERS[bits]


def test_the_example_of_the_standard() -> None:
    # RFC 8785, 3.2.2 (input) and 3.2.3 (output).
    text = r"""{
      "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
      "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
      "literals": [null, true, false]
    }"""
    wanted = (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert canonical(read_once(text)).decode() == wanted


def test_the_order_of_names_of_the_standard() -> None:
    # RFC 8785, 3.2.3: sorted by UTF-16 code units, so the smiling face comes before the Hebrew letter of the BMP's end.
    names = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    made = json.loads(canonical(dict.fromkeys(names, 0)))
    assert list(made) == ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_any_number_comes_back(x: float) -> None:
    assert float(canonical(x)) == x


@given(st.recursive(st.none() | st.booleans() | st.text() | st.integers(-(2**53) + 1, 2**53 - 1), st.lists))
def test_any_value_comes_back_and_layout_does_not_matter(value: object) -> None:
    made = canonical(value)
    assert read_once(made.decode()) == value
    assert canonical(read_once(json.dumps(value, indent=3))) == made


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 2**53, "\ud800", {"a": [1e400]}])
def test_what_is_not_the_same_to_all_is_refused(value: object) -> None:
    with pytest.raises(ValueError):
        canonical(value)


@pytest.mark.parametrize("text", ['{"a": 1, "a": 2}', "[NaN]", "[Infinity]", "[" * 100_000, "{", ""])
def test_what_readers_take_differently_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        read_once(text)


def test_digest_and_its_short_form() -> None:
    # FIPS 180-4 example: SHA-256 of "abc".
    full = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest(b"abc") == full
    assert short(full) == "ba78 16bf 8f01 cfea"
