"""Readings that somebody wrote: typed lines and imported files, from their bytes to stations.

Both doors keep the bytes as they came; these functions are the one pure way from there,
so that a traverse can be derived anew from its own bytes at any time.
"""
