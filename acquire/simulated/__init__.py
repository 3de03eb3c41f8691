"""An invented bed, and invented instruments on it that send real bytes.

Nothing here was measured on any machine.  The bed's true shape is known exactly,
which no real bed's is, so that whatever the rest of the program finds can be held
against it.  The readings are worked out from the physics of each instrument, and
put into bytes, by code that shares nothing with the code that reads them back.
"""
