"""Everything that a person adjusts on a device: one row each.

Console and keys read this table and nothing else. A row has the header (long form,
its short form in capitals; the roots are those of SCPI-99, the rest is our own), what
the display calls it, its unit, how its words stand for a number (`adjust`), its first
word, and for linear ones what one word is worth as a ratio; a choice has its words.
"""

HEADER = 0
LABEL = 1
UNIT = 2
KIND = 3
SLOT = 4
TOP = 5
BOTTOM = 6
WORDS = 5

LINEAR = 0
CHOICE = 1
TIME = 2
RATE = 3
GAIN = 4
PER_SECOND = 5
LAG = 6
TRACKING = 7
DERIVATIVE = 8
DERIVATIVE_LAG = 9
END_CURRENT = 10

_NO_YES = ("OFF", "ON")
_MODES = ("AUTomatic", "MANual", "HOLD")

# fmt: off
ADJUSTMENTS = (
    ("SENSe:CURRent:STARt", "CURRENT AT 0 %", "MA", LINEAR, 6, 1, 1_000),
    ("SENSe:CURRent:END", "CURRENT AT 100 %", "MA", END_CURRENT, 7),
    ("SENSe:CURRent:LOW", "CURRENT TOO LOW", "MA", LINEAR, 3, 1, 1_000),
    ("SENSe:CURRent:HIGH", "CURRENT TOO HIGH", "MA", LINEAR, 4, 1, 1_000),
    ("SENSe:CURRent:PATience", "CURRENT PATIENCE", "S", TIME, 5),
    ("SENSe:PRESsure:LOW", "SENSOR TOO LOW", "", LINEAR, 16, 1, 1),
    ("SENSe:PRESsure:HIGH", "SENSOR TOO HIGH", "", LINEAR, 17, 1, 1),
    ("SENSe:PRESsure:PATience", "SENSOR PATIENCE", "S", TIME, 18),
    ("SENSe:PRESsure:FILTer", "PRESSURE FILTER", "S", LAG, 22),
    ("SENSe:SUPPly:LOW", "SUPPLY TOO LOW", "", LINEAR, 24, 1, 1),
    ("SENSe:SUPPly:HIGH", "SUPPLY TOO HIGH", "", LINEAR, 25, 1, 1),
    ("SENSe:SUPPly:FILTer", "SUPPLY FILTER", "S", LAG, 29),
    ("SENSe:SUPPly:LOST", "SUPPLY LOST", "PCT", LINEAR, 31, 25, 4_096),
    ("SOURce:PRESsure:REVerse", "REVERSE ACTION", "", CHOICE, 9, _NO_YES),
    ("SOURce:PRESsure:LOW", "LEAST SET POINT", "PCT", LINEAR, 10, 1, 250),
    ("SOURce:PRESsure:HIGH", "MOST SET POINT", "PCT", LINEAR, 11, 1, 250),
    ("SOURce:PRESsure:CUToff", "CUT-OFF", "PCT", LINEAR, 12, 1, 250),
    ("SOURce:PRESsure:CUToff:HYSTeresis", "CUT-OFF PLAY", "PCT", LINEAR, 13, 1, 250),
    ("SOURce:PRESsure:RAMP:UP", "RAMP UP", "PCT/S", RATE, 14),
    ("SOURce:PRESsure:RAMP:DOWN", "RAMP DOWN", "PCT/S", RATE, 15),
    ("SOURce:PRESsure:DEADband", "DEADBAND", "PCT", LINEAR, 68, 1, 250),
    ("SOURce:PRESsure:DEADband:HYSTeresis", "DEADBAND PLAY", "PCT", LINEAR, 69, 1, 250),
    ("SOURce:PRESsure:DEADband:DWELl", "DEADBAND DWELL", "S", TIME, 70),
    ("SOURce:PRESsure:GAIN:PROPortional", "GAIN P", "", GAIN, 71),
    ("SOURce:PRESsure:GAIN:INTegral", "GAIN I", "/S", PER_SECOND, 78),
    ("SOURce:PRESsure:GAIN:DERivative", "GAIN D", "S", DERIVATIVE, 74),
    ("SOURce:PRESsure:GAIN:LAG", "FILTER OF D", "S", DERIVATIVE_LAG, 76),
    ("SOURce:PRESsure:GAIN:WEIGht", "SET POINT WEIGHT", "PCT", LINEAR, 73, 25, 1_024),
    ("SOURce:PRESsure:GAIN:TRACking", "TRACKING TIME", "S", TRACKING, 80),
    ("SOURce:PRESsure:GAIN:CONDitional", "CONDITIONAL I", "", CHOICE, 82, _NO_YES),
    ("SOURce:SUPPly:STRength", "SUPPLY STRENGTH", "PCT", LINEAR, 35, 25, 1_024),
    ("OUTPut:LOW", "LEAST OUTPUT", "PCT", LINEAR, 83, 1, 250),
    ("OUTPut:HIGH", "MOST OUTPUT", "PCT", LINEAR, 84, 1, 250),
    ("OUTPut:RATE:UP", "OUTPUT UP", "PCT/S", RATE, 85),
    ("OUTPut:RATE:DOWN", "OUTPUT DOWN", "PCT/S", RATE, 86),
    ("OUTPut:SAFE", "SAFE OUTPUT", "", CHOICE, 87, ("VENT", "HOLD", "FIXed")),
    ("OUTPut:SAFE:LEVel", "FIXED OUTPUT", "PCT", LINEAR, 88, 1, 250),
    ("OUTPut:DRIVe", "DRIVE", "", CHOICE, 89, ("PROPortional", "PAIR")),
    ("OUTPut:DITHer", "DITHER", "PCT", LINEAR, 90, 1, 250),
    ("OUTPut:DITHer:TIME", "DITHER HALF TIME", "S", TIME, 91),
    ("OUTPut:PULSe", "SHORTEST PULSE", "S", TIME, 92),
    ("OUTPut:PULSe:GAP", "BOTH VALVES SHUT", "S", TIME, 93),
    ("OUTPut:WATCh:STARt", "START-UP", "S", TIME, 94),
    ("OUTPut:WATCh:MODE", "MODE AT START", "", CHOICE, 95, _MODES),
    ("OUTPut:WATCh:CLEar", "FAULT ENDS AFTER", "S", TIME, 96),
    ("OUTPut:WATCh:ABOVe", "ABOVE RANGE FOR", "S", TIME, 97),
    ("OUTPut:WATCh:STUCk", "SENSOR STUCK FOR", "S", TIME, 99),
    ("OUTPut:WATCh:STUCk:COUNts", "STUCK WITHIN", "", LINEAR, 98, 1, 1),
    ("OUTPut:WATCh:APARt", "APART BY", "PCT", LINEAR, 100, 1, 250),
    ("OUTPut:WATCh:APARt:TIME", "APART FOR", "S", TIME, 101),
    ("OUTPut:WATCh:LATE", "LATE TICKS", "", LINEAR, 102, 1, 1),
    ("OUTPut:WATCh:LATE:WEIGht", "LATE WEIGHT", "", LINEAR, 103, 1, 1),
    ("OUTPut:WATCh:LAMP", "LAMP BLINK", "S", TIME, 104),
    ("SYSTem:KEYS:LOCK", "KEYS LOCKED", "", CHOICE, 105, _NO_YES),
    ("SOURce:PRESsure:RELay:SIZE", "RELAY SIZE", "PCT", LINEAR, 106, 1, 250),
    ("SOURce:PRESsure:RELay:BAND", "RELAY BAND", "PCT", LINEAR, 107, 1, 250),
    ("SOURce:PRESsure:RELay:TRAVel", "RELAY TRAVEL", "PCT", LINEAR, 108, 1, 250),
    ("SOURce:PRESsure:RELay:PATience", "RELAY PATIENCE", "S", TIME, 109),
    ("SOURce:PRESsure:RELay:CYCLes", "RELAY CYCLES", "", LINEAR, 110, 1, 1),
    ("SOURce:PRESsure:RELay:RULE", "RELAY RULE", "", LINEAR, 111, 1, 1),
    ("SOURce:PRESsure:RELay:SAFety", "RELAY SAFETY", "PCT", LINEAR, 112, 25, 1_024),
)
# fmt: on
