"""The page at the bench: the same calls as the command line, served to the phone in the hand.

One more front end on the public calls; it holds no physics. ``calls.py`` is the only module that
asks the core for answers, ``measuring.py`` the only one that measures, in a process of its own.
"""
