"""Check a proof that no choice of channels costs less than the one a plan made.

    python check_plan.py PROOF.json

PROOF.json holds whole costs (`one`, `two`), the choice, and a tree that shows that nothing costs
less. Needs nothing but Python 3.11 or newer, and shares no code with the program that made the
proof. Exit status: 0 it holds, 1 it does not, 2 the file cannot be read.

A node of the tree is one of
    {"at": i, "under": [[a, node], ...]}   station i takes one of its choices left: a node for each
    {"last": [i, ...]}                     the choices left are tried, by elimination in that order
    {"squares": [...], "rest": node}       a bound rules choices out; what is left is for the rest
A bound by squares: of the 0/1 numbers x of who takes what, any sum of squares (v . (1, x))^2 is 0
or more, so cost less squares is below the cost, and falls apart station by station. A crowd is a
fact of whole numbers: (m - s) (m - s - 1) is 0 or more where m of its labels are taken.
"""

import itertools
import json
import sys

LARGEST = 1_000_000  # entries of a table made by elimination


def cost_of(proof, choice):
    pairs = sum(table[choice[i]][choice[j]] for i, j, table in proof["two"])
    return sum(row[a] for row, a in zip(proof["one"], choice, strict=True)) + pairs


def holds(proof, node, left, tables):
    """Say whether a node shows that no choice of what is left costs less than the plan's."""
    if not all(left):
        return True
    if "under" in node:
        under = dict(node["under"])
        return left[node["at"]] <= under.keys() and all(
            holds(proof, below, [*left[: node["at"]], {a}, *left[node["at"] + 1 :]], tables)
            for a, below in under.items()
            if a in left[node["at"]]
        )
    if "last" in node:
        return least(proof, left, node["last"]) >= proof["cost"]
    kept = ruled(proof, node["squares"], left, tables)
    return not all(kept) or ("rest" in node and holds(proof, node["rest"], kept, tables))


def ruled(proof, squares, left, tables):
    """Return the choices that a bound by squares leaves; all numbers are times scale^2."""
    scale2, top = squares["scale"] ** 2, proof["cost"]
    price = {(i, a): proof["one"][i][a] * scale2 for i, some in enumerate(left) for a in some}
    constant, seen = 0, set()
    for group in squares["groups"]:
        labels = [tuple(label) for label in group["labels"]]
        if seen.intersection(labels) or len(set(labels)) < len(labels):
            raise ValueError("a choice stands in two groups")
        seen.update(labels)
        inside = [(p, label) for p, label in enumerate(labels) if label in price]
        columns = list(zip(*group["vectors"], strict=True)) or [()] * (len(labels) + 1)
        constant -= sum(v * v for v in columns[0])
        crowds = [(set(rows), size, worth) for rows, size, worth in group["crowds"]]
        if any(worth < 0 or size != int(size) for _, size, worth in crowds):
            raise ValueError("a crowd has no such price or size")
        constant -= sum(worth * size * (size + 1) // 2 for _, size, worth in crowds)
        for p, label in inside:
            own = columns[p + 1]
            price[label] -= sum(v * (v + 2 * w) for v, w in zip(own, columns[0], strict=True))
            price[label] += sum(size * worth for rows, size, worth in crowds if p in rows)
        for (p, one), (q, other) in itertools.combinations(inside, 2):
            both = tables.get((one[0], other[0]), {}).get((one[1], other[1]), 0)
            if one[0] == other[0] or both >= top:
                continue  # never taken together
            joint = sum(v * w for v, w in zip(columns[p + 1], columns[q + 1], strict=True))
            more = both * scale2 - 2 * joint
            more -= sum(worth for rows, _, worth in crowds if p in rows and q in rows)
            if more < 0:  # both are taken at most as often as half the sum of each
                price[one] += more // 2
                price[other] += more // 2
    bound = constant + sum(min(price[i, a] for a in some) for i, some in enumerate(left))
    return [
        {a for a in some if bound + price[i, a] - lowest <= (top - 1) * scale2}
        for i, some in enumerate(left)
        for lowest in [min(price[i, a] for a in some)]
    ]


def least(proof, left, order):
    """Return the least cost of what is left, station by station out of the sum."""
    if sorted(order) != list(range(len(left))):
        raise ValueError("the order does not name every station once")
    tables = [((i,), {(a,): proof["one"][i][a] for a in some}) for i, some in enumerate(left)]
    for i, j, table in proof["two"]:
        cells = itertools.product(left[i], left[j])
        tables.append(((i, j), {(a, b): table[a][b] for a, b in cells}))
    total = 0
    for gone in order:
        mine = [entry for entry in tables if gone in entry[0]]
        tables = [entry for entry in tables if gone not in entry[0]]
        scope = sorted({i for some, _ in mine for i in some} - {gone})
        size = len(left[gone])
        for i in scope:
            size *= len(left[i])
        if size > LARGEST:
            raise ValueError("a table of an elimination is too large")
        made = {}
        for values in itertools.product(*(sorted(left[i]) for i in scope)):
            at = dict(zip(scope, values, strict=True))
            made[values] = min(
                sum(table[tuple(a if i == gone else at[i] for i in some)] for some, table in mine)
                for a in left[gone]
            )
        if scope:
            tables.append((tuple(scope), made))
        else:
            total += made[()]
    return total


def check(proof):
    """Say whether the choice costs what is said, and the tree shows that nothing costs less."""
    whole = [*itertools.chain(*proof["one"])]
    whole += [x for _, _, table in proof["two"] for row in table for x in row]
    if any(type(x) is not int or x < 0 for x in whole):
        raise ValueError("a cost is not a whole number of 0 or more")
    tables = {}
    for i, j, table in proof["two"]:
        if (i, j) in tables:
            raise ValueError("a pair of stations stands twice")
        cells = {(a, b): x for a, row in enumerate(table) for b, x in enumerate(row)}
        tables[i, j] = cells
        tables[j, i] = {(b, a): x for (a, b), x in cells.items()}
    left = [set(range(len(row))) for row in proof["one"]]
    return cost_of(proof, proof["choice"]) == proof["cost"] and holds(
        proof, proof["tree"], left, tables
    )


def main(arguments):
    try:
        with open(arguments[0], encoding="utf-8") as file:
            fine = check(json.load(file))
    except (IndexError, KeyError, OSError, TypeError, ValueError) as error:
        print(f"The proof cannot be read: {error}", file=sys.stderr)
        return 2
    print("Nothing costs less." if fine else "The proof does not hold.")
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
