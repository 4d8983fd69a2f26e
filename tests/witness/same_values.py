"""Whether what comes in is what a file keeps: same_values.py KEPT.

Words must be the same; numbers may differ by a millionth or by one in the last digit kept, since a
sum may round otherwise on another processor.
"""

import sys
from decimal import Decimal, InvalidOperation


def same(kept, said):
    try:
        kept, said = Decimal(kept), Decimal(said)
    except InvalidOperation:
        return kept == said
    last_digit = Decimal(1).scaleb(kept.as_tuple().exponent)
    return abs(kept - said) <= max(abs(kept) / 10**6, last_digit)


def main():
    with open(sys.argv[1]) as file:
        kept = file.read().splitlines()
    said = sys.stdin.read().splitlines()
    wrong = [] if len(kept) == len(said) else [f"{len(kept)} lines kept, {len(said)} now"]
    for before, now in zip(kept, said):
        words = before.split(), now.split()
        if len(words[0]) != len(words[1]) or not all(map(same, *words)):
            wrong.append(f"kept: {before}\n now: {now}")
    print("\n".join(wrong), end="\n" if wrong else "")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
