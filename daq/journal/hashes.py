"""The list of SHA-256 sums beside a copied record, and the sums inside the journal itself.

The list has one line per file, `<64 hex digits>  <name>`, sorted by name. Practice 7.9: raw is never
edited, one flipped bit is found.
"""

import os
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Final

from daq.journal.format import HEADER_LEN, SUFFIX, Mark, RecordType, Seal
from daq.journal.recover import Record, SegmentReading

HASHES: Final = "hashes.sha256"
_CHUNK: Final = 1 << 20


def sha256_of(path: Path) -> str:
    """Sum of a file as the medium gives it back, as far as this system lets us pass its cache."""
    digest = sha256()
    with path.open("rb", buffering=0) as file:
        if hasattr(os, "posix_fadvise"):
            os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        while chunk := file.read(_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def hash_list(sums: dict[str, str]) -> str:
    return "".join(f"{sums[name]}  {name}\n" for name in sorted(sums))


def read_hash_list(path: Path) -> dict[str, str]:
    """Name to sum; ValueError with the line number if a line is not one of ours."""
    sums = {}
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        digest, gap, name = line.partition("  ")
        if not gap or len(digest) != 64 or not name or Path(name).name != name:
            raise ValueError(f"{path}: line {number} is not a sum and a name")
        sums[name] = digest
    return sums


def check_hash_list(folder: Path) -> list[str]:
    """Re-read every listed file; one sentence for each that is absent, different or not listed."""
    try:
        sums = read_hash_list(folder / HASHES)
    except (OSError, ValueError) as error:
        return [f"{folder}: the list of sums cannot be read: {error}"]
    wrong = [] if sums else [f"{folder}: the list of sums is empty"]
    for name, digest in sums.items():
        try:
            found = sha256_of(folder / name)
        except OSError as error:
            wrong.append(f"{name}: listed, but cannot be read: {error.strerror}")
        else:
            if found != digest:
                wrong.append(f"{name}: its bytes are not those that were sealed")
    present = {path.name for path in folder.iterdir() if path.suffix == SUFFIX}
    return wrong + [f"{name}: is not in the list of sums" for name in sorted(present - set(sums))]


def altered(data: bytes, reading: SegmentReading) -> Iterator[str]:
    """Sentences about stretches whose records verify, but whose sum in MARK or SEAL does not.

    Stretches with reported damage are left out: that they differ is known already.
    """
    for record in reading.records:
        try:
            stretch = _stretch(record)
        except ValueError as error:
            yield f"{reading.name}: byte {record.offset}: {error}"
            continue
        if stretch is None:
            continue
        start, digest = stretch
        whole = not any(d.start < record.offset and d.end > start for d in reading.damage)
        if whole and sha256(data[start : record.offset]).digest() != digest:
            word = RecordType(record.kind).name
            yield f"{reading.name}: bytes {start} to {record.offset} are not those its {word} sums up"


def _stretch(record: Record) -> tuple[int, bytes] | None:
    if record.kind == RecordType.MARK:
        mark = Mark.unpack(record.body)
        return (mark.previous if mark.previous >= HEADER_LEN else 0), mark.digest
    if record.kind == RecordType.SEAL:
        return 0, Seal.unpack(record.body).digest
    return None
