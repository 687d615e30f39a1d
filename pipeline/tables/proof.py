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
    store: str | None = column("the store it is about; null: no one store, or older", since=6)


@table("register_file", key=("sha256", "kind"), since=6)
class RegisterFile:
    """The files that the register rests on, each content once: rows are only added.

    Exports are entered by the first run that rests on them, in order of their digests, so that
    their names and the pieces they came in change nothing; workbooks by the command that took
    something from them; audits when an edition is first written.
    """

    sha256: str = column("of the file, or of the archive's member")
    kind: str = column("'export'; 'workbook': one that came back; 'audit': one written")
    file: str | None = column("its name; null: of an export, whose names export_file has")
    as_of: date = column("the day of the run or command")


@table("file_kept", key=("sha256",), since=6)
class FileKept:
    """Workbooks that came back and audits as first written, octet by octet.

    They stand in the database and not beside it: so a decision and its original are kept together
    or not at all, whenever a command is cut off, and go together into every backup.
    """

    sha256: str = column("as in register_file")
    octets: bytes = column("the file")


@table("register_seal", key=("size",), since=4)
class RegisterSeal:
    """The roots of the register: one row whenever entries were added. Rows are only added."""

    size: int = column("how many entries it is over", sql="bigint")
    root: str = column("of the tree of RFC 9162 over them, 64 hexadecimal digits")
    as_of: date = column("the day of the run that sealed them")
    edge: str = column("roots of its full subtrees, left to right: what adding needs")
