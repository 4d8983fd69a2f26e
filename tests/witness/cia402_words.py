"""How canopen, a general-purpose CAN library from PyPI, reads every status word of CiA 402.

Prints one letter for each of the 65,536 words, 64 to a line. tests/cia402_witness.rs compares
them with this project's reading; what is printed is kept beside it in tests/reference.
"""

from canopen.profiles.p402 import State402

LETTERS = {
    "NOT READY TO SWITCH ON": "n",
    "SWITCH ON DISABLED": "d",
    "READY TO SWITCH ON": "r",
    "SWITCHED ON": "s",
    "OPERATION ENABLED": "o",
    "QUICK STOP ACTIVE": "q",
    "FAULT REACTION ACTIVE": "a",
    "FAULT": "f",
}


def letter(word):
    for state, (mask, value) in State402.SW_MASK.items():
        if word & mask == value:
            return LETTERS[state]
    return "."


for start in range(0, 0x10000, 64):
    print("".join(letter(word) for word in range(start, start + 64)))
