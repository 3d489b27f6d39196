"""What a PI code says of its station: countries, regional variants, North American call letters.

IEC 62106 / EN 50067 Annex D (country and coverage nibbles) and NRSC-4-B Annex D (call letters).
"""

from __future__ import annotations

import re

_K_BASE, _W_BASE, _END = 0x1000, 0x54A8, 0x9950

#: Three-letter calls, NRSC-4-B Annex D, Table D.7.
_THREE_LETTERS = """
9950 KEX 9951 KFH 9952 KFI 9953 KGA 9954 KGO 9955 KGU 9956 KGW 9957 KGY 9958 KID 9959 KIT 995A KJR 995B KLO 995C KLZ
995D KMA 995E KMJ 995F KNX 9960 KOA 9964 KQV 9965 KSL 9966 KUJ 9967 KVI 9968 KWG 996B KYW 996D WBZ 996E WDZ 996F WEW
9971 WGL 9972 WGN 9973 WGR 9975 WHA 9976 WHB 9977 WHK 9978 WHO 997A WIP 997B WJR 997C WKY 997D WLS 997E WLW 9981 WOC
9983 WOL 9984 WOR 9988 WWJ 9989 WWL 9990 KDB 9991 KGB 9992 KOY 9993 KPQ 9994 KSD 9995 KUT 9996 KXL 9997 KXO 9999 WBT
999A WGH 999B WGY 999C WHP 999D WIL 999E WMC 999F WMT 99A0 WOI 99A1 WOW 99A2 WRR 99A3 WSB 99A4 WSM 99A5 KBW 99A6 KCY
99A7 KDF 99AA KHQ 99AB KOB 99B3 WIS 99B4 WJW 99B5 WJZ 99B9 WRC
"""
_CALL_OF: dict[int, str] = {int(code, 16): call for code, call in re.findall(r"(\w{4}) (\w{3})", _THREE_LETTERS)}
_CODE_OF = {call: code for code, call in _CALL_OF.items()}

#: Countries (ISO 3166, KS for none) that share the first nibble, by extended country code E0 to E4 (IEC 62106 Annex D,
#: as an open-source decoder's table has it).
_COUNTRIES = {
    0x1: "DE GR MA ME MD",
    0x2: "DZ CY CZ IE EE",
    0x3: "AD SM PL TR KG",
    0x4: "IL CH VA MK",
    0x5: "IT JO SK",
    0x6: "BE FI SY UA",
    0x7: "RU LU TN KS",
    0x8: "PS BG NL PT",
    0x9: "AL DK LI LV SI",
    0xA: "AT GI IS LB AM",
    0xB: "HU IQ MC AZ",
    0xC: "MT GB LT HR GE",
    0xD: "DE LY RS KZ",
    0xE: "RO ES SE",
    0xF: "EG FR NO BY BA",
}


def countries(code: int) -> tuple[str, ...]:
    """Return the European and neighbouring countries whose stations may carry the code; the nibble 0 has none.

    Examples
    --------
    >>> countries(0xC201)
    ('MT', 'GB', 'LT', 'HR', 'GE')
    """
    return tuple(_COUNTRIES.get(code >> 12, "").split())


def call_letters(code: int) -> str:
    """Return the North American call letters of a code, or nothing where none belong to it.

    Examples
    --------
    >>> call_letters(0x21C7), call_letters(0xAF21), call_letters(0x0123)
    ('KGTB', 'KGLK', '')
    """
    plain = _unfolded(code)
    if plain in _CALL_OF:
        return _CALL_OF[plain]
    if not _K_BASE <= plain < _END:
        return ""
    first, number = ("K", plain - _K_BASE) if plain < _W_BASE else ("W", plain - _W_BASE)
    letters = (number // 676, number // 26 % 26, number % 26)
    return first + "".join(chr(ord("A") + letter) for letter in letters)


def code_of_call(call: str) -> int:
    """Return the code that a station of these call letters sends by the rule (many send another).

    Raises
    ------
    ValueError
        If the call is not K or W and three letters, nor a listed three-letter call.
    """
    letters = call.strip().upper()
    if letters in _CODE_OF:
        return _CODE_OF[letters]
    if len(letters) != 4 or letters[0] not in "KW" or not (letters.isascii() and letters.isalpha()):
        raise ValueError(f"{call!r} is not a call with a code of its own: expected K or W and three letters")
    base = _K_BASE if letters[0] == "K" else _W_BASE
    first, second, third = (ord(letter) - ord("A") for letter in letters[1:])
    return _folded(base + 676 * first + 26 * second + third)


def is_variant(code: int, other: int) -> bool:
    """Tell whether two different codes may be sent by the same transmitter.

    In Europe a programme's regional variants differ in the second nibble (coverage 4 to F), and a transmitter changes
    between them; in North America stations with a traffic service put a 1 in the first nibble (reported by listeners).
    """
    difference = code ^ other
    return difference > 0 and (difference & 0xF0FF == 0 or difference & 0x0FFF == 0)


def _folded(code: int) -> int:
    """Return a code as sent: no zero where receivers expect a coverage area."""
    first, second, last = code >> 12, code >> 8 & 0xF, code & 0xFF
    if second == 0 and last == 0:
        return 0xAFA0 | first
    if last == 0:
        return 0xAF00 | first << 4 | second
    if second == 0:
        return 0xA000 | first << 8 | last
    return code


def _unfolded(code: int) -> int:
    if code & 0xFFF0 == 0xAFA0:
        return (code & 0xF) << 12
    if code & 0xFF00 == 0xAF00:
        return (code & 0xFF) << 8
    if code & 0xF000 == 0xA000:
        return (code & 0xF00) << 4 | code & 0xFF
    return code
