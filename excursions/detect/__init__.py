"""One file a detector; each is a pure function from a record to events.

In: a :class:`Record`.  Out: a tuple of :class:`Event` in time order.  Promises: the same record gives the
same events; cost linear in samples.  Never: reads files, looks at calibrations, changes its input.
"""
