"""Check a proof that a register's entries stand as they were sealed.

    python check_proof.py PROOF.json SIZE:ROOT [SIZE:ROOT ...]

PROOF.json is what `quietaisle audit --prove` wrote; SIZE:ROOT is what any page or workbook prints
as the register's seal. Needs nothing but Python 3.11 or newer, and shares no code with the program
that made the proof. The method is that of RFC 9162, sections 2.1.1, 2.1.3.2 and 2.1.4.2, with
SHA-256. Exit status: 0 everything holds, 1 something does not, 2 the files cannot be read.
"""

import base64
import hashlib
import json
import sys

WIDTH = 32  # octets of a hash


def leaf(octets):
    return hashlib.sha256(b"\x00" + octets).digest()


def node(left, right):
    return hashlib.sha256(b"\x01" + left + right).digest()


def path_of(text):
    octets = base64.b64decode(text, validate=True)
    if len(octets) % WIDTH:
        raise ValueError("a path is not a whole number of hashes")
    return [octets[at : at + WIDTH] for at in range(0, len(octets), WIDTH)]


def sides(at, last, count):
    """Return for each hash of a path whether it stands on the left; None: it does not fit."""
    found = []
    for _ in range(count):
        if last == 0:
            return None
        found.append(at % 2 == 1 or at == last)
        while found[-1] and at and at % 2 == 0:
            at, last = at // 2, last // 2
        at, last = at // 2, last // 2
    return found if last == 0 else None


def root_of_entry(octets, index, size, path):
    """Return the root that an entry and its path lead to (2.1.3.2); None: they do not fit."""
    lefts = sides(index, size - 1, len(path)) if 0 <= index < size else None
    if lefts is None:
        return None
    found = leaf(octets)
    for left, beside in zip(lefts, path, strict=True):
        found = node(beside, found) if left else node(found, beside)
    return found


def roots_of_both(first, second, path, first_root):
    """Return the older and the newer root that a path leads to (2.1.4.2); None: they do not fit."""
    if first == second:
        return None if path else (first_root, first_root)
    if first > 0 and first & (first - 1) == 0:  # its root is the path's first hash
        path = [first_root, *path]
    at, last = first - 1, second - 1
    while at > 0 and at % 2:
        at, last = at // 2, last // 2
    lefts = sides(at, last, len(path) - 1) if 0 < first < second and path else None
    if lefts is None:
        return None
    older = newer = path[0]
    for left, beside in zip(lefts, path[1:], strict=True):
        older = node(beside, older) if left else older
        newer = node(beside, newer) if left else node(newer, beside)
    return older, newer


def printed(text):
    size, _, digits = text.partition(":")
    if len(digits) != 2 * WIDTH:
        raise ValueError(f"{text}: a root has {2 * WIDTH} digits, behind the size and a colon")
    return int(size), bytes.fromhex(digits)


def problems(proof, roots):
    """Yield a sentence for whatever does not hold."""
    size, root = int(proof["size"]), bytes.fromhex(proof["root"])
    for number, entry in enumerate(proof["entries"], start=1):
        octets, index = entry["octets"].encode(), int(entry["index"])
        if root_of_entry(octets, index, size, path_of(entry["path"])) != root:
            yield f"entry {number} (index {index}) is not in the register that has this root"
    earlier = {int(one["size"]): path_of(one["path"]) for one in proof["earlier"]}
    for known_size, known in roots:
        path = [] if known_size == size else earlier.get(known_size)
        if path is None:
            yield f"no path from {known_size} entries: ask for one with --older {known_size}"
        elif roots_of_both(known_size, size, path, known) != (known, root):
            yield f"the register of {known_size} entries is not the beginning of this one"
    if not roots:
        yield "no printed root was given: nothing ties the proof to a page"


def main(arguments):
    if not arguments:
        print(__doc__.strip())
        return 2
    try:
        with open(arguments[0], encoding="utf-8") as lines:
            proof = json.load(lines)
        roots = [printed(text) for text in arguments[1:]]
        found = list(problems(proof, roots))
    except (OSError, ValueError, KeyError, TypeError) as error:
        print(f"The proof cannot be read: {error!r}")
        return 2
    for sentence in found:
        print(f"Does not hold: {sentence}.")
    if not found:
        entries = len(proof["entries"])
        print(f"Holds: {entries} of {proof['size']} entries, {len(roots)} printed roots.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
