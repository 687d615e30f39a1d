"""The seals of the register: what makes a later change of it visible to an outsider."""

from datetime import date

from pipeline.tables.declare import column, table


@table("register_entry", key=("seq",), since=4)
class RegisterEntry:
    """The entries of the register in the order in which they were sealed: rows are only added.

    An entry stands for one row of the table `source`, whose rows are sealed in their own order.
    """

    seq: int = column("1 is the first; grows by one", sql="bigint")
    source: str = column("the table whose row it stands for")
    leaf: str = column("SHA-256 of the row as a leaf of RFC 9162, 64 hexadecimal digits")


@table("register_seal", key=("size",), since=4)
class RegisterSeal:
    """The roots of the register: one row whenever entries were added. Rows are only added."""

    size: int = column("how many entries it is over", sql="bigint")
    root: str = column("of the tree of RFC 9162 over them, 64 hexadecimal digits")
    as_of: date = column("the day of the run that sealed them")
    edge: str = column("roots of its full subtrees, left to right: what adding needs")
