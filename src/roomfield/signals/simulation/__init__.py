"""Invented recordings with known truth: what a meter's audio output would carry.

Everything here follows the standards' timing and wide random nuisance, and serves two
ends: the maker of the classifier's parameters, and the tests.
"""
