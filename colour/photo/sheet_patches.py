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
    "B1": 0x02437A, "B2": 0x1965AF, "B3": 0x618CD1, "V1": 0x48367B, "V2": 0x745EA8, "M1": 0x9D2B72,
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
.. .. R5 WH G1 38 05 ne O5 d4 50 di 90 WH dh L2 80 05 28 .. ..
.. .. 14 B1 d5 Y2 T5 B6 WH n5 09 R2 28 02 n8 38 WH M1 n1 .. ..
db d8 WH 50 02 n4 WH 65 02 n6 WH 65 09 80 WH 65 09 d1 WH 50 V2
B5 WH ## ## ## ## ## 05 ## ## ## ## ## WH ## ## ## ## ## 14 d9
R6 50 ## ## ## ## ## 20 ## ## ## ## ## 38 ## ## ## ## ## 20 O6
V5 05 ## ## ## ## ## WH ## ## ## ## ## 14 ## ## ## ## ## WH n2
20 nf ## ## ## ## ## 38 ## ## ## ## ## de ## ## ## ## ## 50 T1
M2 WH ## ## ## ## ## 09 ## ## ## ## ## WH ## ## ## ## ## 02 dd
L1 65 ## ## ## ## ## 28 ## ## ## ## ## 50 ## ## ## ## ## 20 d6
ng 09 ## ## ## ## ## WH ## ## ## ## ## 02 ## ## ## ## ## WH Y1
28 90 ## ## ## ## ## 50 ## ## ## ## ## nb ## ## ## ## ## 65 G2
na WH 38 14 80 WH 50 14 20 WH 50 05 dc WH 50 05 nd WH 38 05 B3
.. .. O1 dg Y5 da d2 G5 nc n3 65 O2 28 M5 R1 WH L5 B2 90 .. ..
.. .. df 05 T2 WH 65 80 02 G6 V1 d3 d7 WH 09 50 14 n7 n9 .. ..
"""
