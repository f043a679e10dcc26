"""Touches in a process of its own all that the HDF5 reader will touch: a damaged file can hang or crash the C library.

Run as a script with the file's name; how it ends is the answer. It imports nothing of ours, so that it starts quickly.
"""

import contextlib
import sys

import h5py


def visit(group: "h5py.Group", depth: int = 0) -> None:
    """Go through groups, attributes, and the first and last values of every data set."""
    touch(group.attrs)
    for name in list(group):
        with contextlib.suppress(Exception):  # the reader itself says what is wrong: here only hangs and crashes count
            if not isinstance(group.get(name, getlink=True), h5py.HardLink):
                continue
            item = group[name]
            if isinstance(item, h5py.Group) and depth < 8:
                visit(item, depth + 1)
            elif isinstance(item, h5py.Dataset):
                touch(item.attrs)
                item.id.get_storage_size()
                if item.size and not item.external and not item.is_virtual:
                    item[(0,) * item.ndim], item[(-1,) * item.ndim]


def touch(attributes: "h5py.AttributeManager") -> None:
    """Read every attribute that can be read."""
    for name in list(attributes):
        with contextlib.suppress(Exception):
            attributes[name]


if __name__ == "__main__":
    with contextlib.suppress(Exception), h5py.File(sys.argv[1], "r") as opened:
        visit(opened)
