"""The report of a route or of one of its stops: what to print, to file, to hand over.

`gather` collects, `content` says it as a document of plain blocks, and `html` and `pdf` set that
one document. Neither of the two can say what the other does not.
"""
