"""Neutral sentences with the numbers given, from one message catalogue per language."""

from roomfield.show.words.message_catalogue import LANGUAGES, Words, load_words

__all__ = ["LANGUAGES", "Words", "load_words"]
