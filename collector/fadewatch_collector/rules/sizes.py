"""Sizes in words, as they are sold: memory in binary units, drives in decimal."""

MIB_PER_GIB = 1024
GIGABYTE, TERABYTE = 10**9, 10**12
"""SI prefixes [byte]."""


def memory_words(mib: int) -> str:
    """Write a memory size [MiB]."""
    gib = mib / MIB_PER_GIB
    return f"{gib:.3g} GiB" if gib >= 1 else f"{mib} MiB"


def drive_words(size_bytes: int) -> str:
    """Write a drive's size [bytes]."""
    if size_bytes >= TERABYTE:
        return f"{size_bytes / TERABYTE:.3g} TB"
    return f"{size_bytes / GIGABYTE:.0f} GB"
