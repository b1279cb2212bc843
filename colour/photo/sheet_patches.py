"""What the photo sheet prints where: its swatches and the grid they stand in."""

from __future__ import annotations

# sRGB of each swatch.
SWATCHES = {
    # White, and greys by their lightness L*.
    "WH": 0xFFFFFF, "90": 0xE2E2E2, "80": 0xC6C6C6, "65": 0x9E9E9E, "50": 0x777777, "38": 0x595959,
    "28": 0x424242, "20": 0x303030, "14": 0x242424, "09": 0x191919, "05": 0x111111, "02": 0x090909,
    # Saturated red, orange, yellow, leaf, green, teal, blue, violet, magenta; B4 a greener blue.
    "R1": 0x9F2023, "R2": 0xD03B39, "O1": 0xC0631D, "O2": 0xEF8030, "Y1": 0xCDAF1D, "Y2": 0xFAD50F,
    "L1": 0x6E8E39, "L2": 0x9AC752, "G1": 0x045F37, "G2": 0x008E55, "T1": 0x056F6E, "T2": 0x07A1A0,
    "B1": 0x02437A, "B2": 0x1965AF, "B3": 0x618CD1, "B4": 0x01729D, "V1": 0x48367B, "V2": 0x745EA8,
    "M1": 0x9D2B72, "M2": 0xCD4999,
    # The same hues at about half the chroma.
    "R5": 0x985958, "R6": 0xC79588, "O5": 0xC08A66, "O6": 0x775838, "Y5": 0xDABF76, "L5": 0x97AD79,
    "G5": 0x62967C, "G6": 0x4B6B4E, "T5": 0x4A858A, "B5": 0x577A9F, "B6": 0x91B5CF, "V5": 0x655E85,
    "M5": 0xB67A95,
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
.. .. d6 WH 80 05 B4 di B1 WH T1 50 28 Y2 28 G5 38 WH d2 .. ..
.. .. nd M5 O5 n9 20 38 L2 n1 05 B5 WH O1 02 80 V1 d7 90 .. ..
ne 14 WH 50 02 na WH 65 02 df WH 65 09 20 WH 65 09 14 WH 50 n3
R1 WH ## ## ## ## ## 05 ## ## ## ## ## WH ## ## ## ## ## 14 d8
de 50 ## ## ## ## ## n2 ## ## ## ## ## 38 ## ## ## ## ## d3 R5
G2 05 ## ## ## ## ## WH ## ## ## ## ## 14 ## ## ## ## ## WH M1
V2 90 ## ## ## ## ## 38 ## ## ## ## ## dh ## ## ## ## ## 50 n8
B3 WH ## ## ## ## ## 09 ## ## ## ## ## WH ## ## ## ## ## 02 L1
Y1 65 ## ## ## ## ## d5 ## ## ## ## ## 50 ## ## ## ## ## nc Y5
d4 09 ## ## ## ## ## WH ## ## ## ## ## 02 ## ## ## ## ## WH 28
T5 n5 ## ## ## ## ## 50 ## ## ## ## ## dc ## ## ## ## ## 65 T2
28 WH 38 14 d9 WH 50 14 n4 WH 50 05 dg WH 50 05 nb WH 38 05 n6
.. .. L5 28 20 O2 n7 M2 db 09 nf 90 dd 09 G6 ng 20 R6 O6 .. ..
.. .. d1 WH 02 65 G1 B2 WH 80 50 R2 80 WH V5 65 05 da B6 .. ..
"""
