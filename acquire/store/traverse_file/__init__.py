"""One traverse as HDF5: laid out, opened within bounds, read, written; does it make sense?"""
