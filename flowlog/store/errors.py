"""What can go wrong with the store, in one class for each thing that the caller does about it."""

from __future__ import annotations

from flowlog.errors import FlowlogError


class StoreError(FlowlogError):
    """The store could not do it. What had been committed before is still there."""


class StoreBusyError(StoreError):
    """Another daemon writes this rig's store."""


class StoreLockedError(StoreError):
    """Another process holds the database; trying the same again later may work."""


class StoreFullError(StoreError):
    """No space left on the disk; the same batch can be committed once there is space."""


class StoreReadOnlyError(StoreError):
    """The folder or the file system may not be written."""


class StoreCorruptError(StoreError):
    """The file is damaged, or is no flowlog database."""


class StoreMissingError(StoreError):
    """There is no store in this folder."""


class StoreTooNewError(StoreError):
    """The database was made by a newer version of the program."""
