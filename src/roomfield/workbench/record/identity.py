"""Who writes, for the doors."""

from roomfield.store.identity import Identity, acting_as, present_identity, set_identity, settings_folder

__all__ = ["Identity", "acting_as", "present_identity", "set_identity", "settings_folder"]
