"""What the photo sheet prints where: its swatches and the grid they stand in."""

from __future__ import annotations

# sRGB of each swatch.
SWATCHES = {
    # White, and greys by their lightness L*.
    "WH": 0xFFFFFF, "90": 0xE2E2E2, "80": 0xC6C6C6, "65": 0x9E9E9E, "50": 0x777777, "38": 0x595959,
    "28": 0x424242, "20": 0x303030, "14": 0x242424, "09": 0x191919, "05": 0x111111, "02": 0x090909,
    # Saturated red, orange, yellow, leaf, green, teal, blue, violet, magenta, dark to light.
    "R1": 0x9F2023, "R2": 0xD03B39, "O1": 0xC0631D, "O2": 0xEF8030, "Y1": 0xCDAF1D, "Y2": 0xFAD50F,
    "L1": 0x6E8E39, "L2": 0x9AC752, "G1": 0x045F37, "G2": 0x008E55, "T1": 0x056F6E, "T2": 0x07A1A0,
    "B1": 0x034570, "B2": 0x0167A5, "B3": 0x4B90D1, "V1": 0x48367B, "V2": 0x745EA8, "M1": 0x9D2B72,
    "M2": 0xCD4999,
    # The same hues at about half the chroma.
    "R5": 0x985958, "O5": 0xC08A66, "Y5": 0xDABF76, "L5": 0x97AD79, "G5": 0x62967C, "T5": 0x4A858A,
    "B5": 0x577A9F, "V5": 0x655E85, "M5": 0xB67A95, "R6": 0xC79588, "G6": 0x4B6B4E, "B6": 0x91B5CF,
    "O6": 0x775838,
    # Near-neutral tints, as silvers, whites and greys have: C* 2 to 6, light to dark.
    "n1": 0xE4E2DD, "n2": 0xD7DEE2, "n3": 0xD0CBC4, "n4": 0xC4C7CC, "n5": 0xBEB4AE, "n6": 0xA8B2B5,
    "n7": 0xA49C9D, "n8": 0x91969F, "n9": 0x878D88, "na": 0x7E7C77, "nb": 0x71717A, "nc": 0x5E6469,
    "nd": 0x615853, "ne": 0x444D4B, "nf": 0x49464A, "ng": 0xEEEEEA,
    # Dark tints, L* 7 to 22: blues, burgundies, bottle greens, browns, violet blacks.
    "d1": 0x121822, "d2": 0x16243C, "d3": 0x113155, "d4": 0x293643, "d5": 0x271417, "d6": 0x401A1D,
    "d7": 0x532425, "d8": 0x101A15, "d9": 0x0F261D, "da": 0x1B3626, "db": 0x1F1811, "dc": 0x312317,
    "dd": 0x452D1C, "de": 0x1D1A21, "df": 0x352739, "dg": 0x111619, "dh": 0x221F1A, "di": 0x232C2C,
}  # fmt: skip

# One line per row of the sheet, top row first; ".." a corner's code, "##" a window.
# The arrangement was searched for once (simulated annealing over exchanges) and is kept as it
# stands, for sheets on paper must go on meaning what they meant. The search wanted each of L*, a*
# and b* uncorrelated with a gradient or a bow of the light, each hue family and each dark step
# centred on the sheet, like beside unlike, and a white, a middle and a dark grey near every place;
# the cells that touch the windows run white, middle, dark, free along every row and column.
GRID = """
.. .. db n6 B2 WH B5 14 T1 d9 WH 02 50 V1 G6 WH ng d3 d6 .. ..
.. .. 05 38 M2 na 65 da d2 50 n3 n4 O1 L5 Y1 R1 05 38 G1 .. ..
R2 09 WH 80 14 df WH 28 14 05 WH 80 09 20 WH 65 20 28 WH 80 nb
G2 WH ## ## ## ## ## 05 ## ## ## ## ## WH ## ## ## ## ## 09 65
L2 50 ## ## ## ## ## n8 ## ## ## ## ## 50 ## ## ## ## ## dd de
O5 05 ## ## ## ## ## WH ## ## ## ## ## 02 ## ## ## ## ## WH M5
dh 28 ## ## ## ## ## 50 ## ## ## ## ## 38 ## ## ## ## ## 50 O6
R6 WH ## ## ## ## ## 20 ## ## ## ## ## WH ## ## ## ## ## 14 T5
V5 65 ## ## ## ## ## 02 ## ## ## ## ## 28 ## ## ## ## ## 02 n7
20 09 ## ## ## ## ## WH ## ## ## ## ## 14 ## ## ## ## ## WH 50
90 n5 ## ## ## ## ## 65 ## ## ## ## ## 09 ## ## ## ## ## 28 n1
nc WH 38 02 d4 WH 50 09 ne WH 38 05 d1 WH 50 05 09 WH 38 05 n9
.. .. 28 WH d5 14 90 WH d7 n2 Y5 WH 90 di 20 dg B6 V2 B3 .. ..
.. .. d8 T2 nd B1 50 nf M1 O2 05 G5 Y2 14 65 R5 WH L1 dc .. ..
"""
