"""Who writes, for the doors."""

from roomfield.store.identity import Identity, acting_as, present_identity, set_identity
from roomfield.store.signing import new_key


def sign_from_now_on() -> Identity:
    """Make a key pair and sign every link of this account on this computer with it.

    Raises
    ------
    StoreError
        If the system has no keyring that can be used.
    """
    who = present_identity()
    return set_identity(who.name, who.device, new_key())


__all__ = ["Identity", "acting_as", "present_identity", "set_identity", "sign_from_now_on"]
