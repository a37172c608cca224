"""Values as they are shown: one type per thing that a reader sees, with its numbers, its sentences and its figures.

Report, pages, command line, JSON and data frames are renderings of these values; none of them computes or words
anything of its own.
"""
