"""Physical constants and relations, each with its published source, unit and uncertainty.

In: plain numbers and arrays.  Out: plain numbers and arrays.  Never: files of the user, times, events.
"""
