"""Letters and figures of half blocks in any size, to be read across a bay."""

from itertools import zip_longest

_FONT = {
    " ": "00000", "-": "00700", "?": "71302", "0": "75557", "1": "26227", "2": "71747", "3": "71717", "4": "55711",
    "5": "74717", "6": "74757", "7": "71111", "8": "75757", "9": "75717", "A": "75755", "B": "65656", "C": "74447",
    "D": "65556", "E": "74647", "F": "74644", "G": "74557", "H": "55755", "I": "72227", "J": "11157", "K": "55655",
    "L": "44447", "M": "57755", "N": "65555", "O": "75557", "P": "75744", "Q": "75571", "R": "65655", "S": "34216",
    "T": "72222", "U": "55557", "V": "55552", "W": "55775", "X": "55255", "Y": "55222", "Z": "71247",
}  # fmt: skip
"""Five rows of three dots each, one octal digit a row."""
_DOTS_HIGH = 5
_ADVANCE = 4
_BLOCK = {("0", "0"): " ", ("1", "0"): "▀", ("0", "1"): "▄", ("1", "1"): "█"}


def cells_wide(characters: int, scale: int) -> int:
    """Cells that so many characters take, with the gap behind each."""
    return characters * _ADVANCE * scale


def cells_high(scale: int) -> int:
    """Rows that a line of them takes."""
    return (_DOTS_HIGH * scale + 1) // 2


def block_letters(text: str, scale: int) -> list[str]:
    """`text` in rows of `cells_wide` cells, a dot `scale` cells wide and as tall; what has no letter becomes ?."""
    capitals = text.upper()
    rows = ["".join(_row(one, row, scale) for one in capitals) for row in range(_DOTS_HIGH)]
    dots = [row for row in rows for _ in range(scale)]
    blank = "0" * cells_wide(len(capitals), scale)
    pairs = zip_longest(dots[::2], dots[1::2], fillvalue=blank)
    return ["".join(map(_BLOCK.__getitem__, zip(upper, lower, strict=True))) for upper, lower in pairs]


def _row(character: str, row: int, scale: int) -> str:
    dots = f"{int(_FONT.get(character, _FONT['?'])[row]):03b}0"
    return "".join(dot * scale for dot in dots)
