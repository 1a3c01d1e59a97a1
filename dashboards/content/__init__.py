"""From results to what a page says: plain sentences and rows, no markup, no figures.

In: a ScanResult and a Reader (zone, units).  Out: frozen dataclasses of text and numbers.  Promises that the
same result gives the same content.  Never decides what is wrong with a probe; that was decided before.
"""
