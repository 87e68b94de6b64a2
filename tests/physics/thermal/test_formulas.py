"""Formulas in plain signs."""

import pytest

from server.physics.thermal.formulas import readable


@pytest.mark.parametrize(
    ("formula", "plain"),
    [
        (r"q = \sigma T^4", "q = σ T⁴"),
        (r"F = \frac{T}{K d}", "F = T/(K d)"),
        (r"\frac{s}{2t}", "s/(2t)"),
        (r"\sqrt{\frac{a}{b}}", "√(a/b)"),
        (r"\int_{T_c}^{T_h} k\,dT", "∫[T_c → T_h] k dT"),
        (r"10^{-8} n^{2.56}", "10⁻⁸ n^2.56"),
        (r"\left[ x + 1 \right]^{-1}", "[ x + 1 ]⁻¹"),
        (r"(4\,\mathrm{K}/T)^n", "(4 K/T)ⁿ"),
        (r"F_{12}, \quad X", "F_12,   X"),
    ],
)
def test_a_formula_becomes_plain_signs(formula: str, plain: str) -> None:
    assert readable(formula) == plain


@pytest.mark.parametrize("formula", [r"\frac{a}{b", r"a}", r"\unheard x"])
def test_what_cannot_be_read_is_refused(formula: str) -> None:
    with pytest.raises(ValueError, match=r"brace|No plain sign"):
        readable(formula)
