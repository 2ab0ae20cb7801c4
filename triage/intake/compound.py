"""Takes a stream out of the container of old Office files ([MS-CFB] 2.1 to 2.6)."""

import struct

_FREE = 0xFFFFFFFA  # this number and those above it end a chain
_HEADER_FAT = 109
_ENTRY = 128


def stream_of(data: bytes, names: tuple[str, ...]) -> bytes:
    """Content of the first stream with one of the names; empty if there is none.

    Raises
    ------
    struct.error, IndexError, ValueError
        If the container is damaged.
    """
    size = 1 << struct.unpack_from("<H", data, 30)[0]
    small = 1 << struct.unpack_from("<H", data, 32)[0]
    if not 128 <= size <= 65536 or small > size:
        raise ValueError("the container states no usable sector size")
    first_directory, cutoff = struct.unpack_from("<I4xI", data, 48)
    first_mini = struct.unpack_from("<I", data, 60)[0]
    table = _sector_table(data, size)
    directory = _chain(data, table, first_directory, size, size)
    root, found = b"", None
    for place in range(0, len(directory) - _ENTRY + 1, _ENTRY):
        entry = directory[place : place + _ENTRY]
        length = struct.unpack_from("<H", entry, 64)[0]
        name = entry[: max(length - 2, 0)].decode("utf-16-le", errors="replace")
        if place == 0:
            root = entry
        elif name in names and entry[66] == 2 and found is None:
            found = entry
    if found is None:
        return b""
    start, length = struct.unpack_from("<II", found, 116)
    if length >= cutoff:
        return _chain(data, table, start, size, size)[:length]
    inner = _chain(data, table, struct.unpack_from("<I", root, 116)[0], size, size)
    minis = _numbers(_chain(data, table, first_mini, size, size))
    return _chain(inner, minis, start, small, 0)[:length]


def _sector_table(data: bytes, size: int) -> list[int]:
    listed = list(struct.unpack_from(f"<{_HEADER_FAT}I", data, 76))
    following, count = struct.unpack_from("<II", data, 68)
    for _ in range(min(count, len(data) // size)):
        if following >= _FREE:
            break
        more = _numbers(data[(following + 1) * size : (following + 2) * size])
        listed += more[:-1]
        following = more[-1]
    sectors = [
        data[(number + 1) * size : (number + 2) * size] for number in listed if number < _FREE
    ]
    return _numbers(b"".join(sectors))


def _numbers(data: bytes) -> list[int]:
    return list(struct.unpack_from(f"<{len(data) // 4}I", data))


def _chain(data: bytes, table: list[int], start: int, size: int, header: int) -> bytes:
    parts: list[bytes] = []
    while start < _FREE and len(parts) <= len(table):
        parts.append(data[header + start * size : header + (start + 1) * size])
        start = table[start]
    if len(parts) > len(table):
        raise ValueError("the sectors of a stream run in a circle")
    return b"".join(parts)
