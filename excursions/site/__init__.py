"""A site: one folder in which the nightly run takes what is new and keeps a ledger of what it found.

In: files that people and programs drop into ``inbox/``, the register, the settings.  Out: an archive, a ledger,
reports, a digest.  Promises: a kill or a power cut at any moment leaves a folder from which the next run gives
the right answer; nothing is taken twice, nothing is lost.  Never: runs anything from the inbox, writes outside
the folder, changes a kept copy.

The folder::

    site.toml        settings                         (written by people)
    register.toml    the plant, as for ``scan``       (written by people)
    inbox/           what is to be taken in           (written by anybody: untrusted)
    kept/            a copy of every file taken, by its SHA-256; never changed: the root of everything below
    archive/         point=NAME/month=YYYY-MM/*.parquet: ordered, one row an instant, never changed once written
    ledger.sqlite    files, archive parts, events, changes, notes, nights, digests; ledger-copy.sqlite behind it
    findings/        what the search of a point gave, by the SHA-256 of all that went in; may be deleted
    reports/         pages, tables and the digest of the last night that changed anything
    aside/           what was found damaged, kept for a person to look at
    logs/            a line a night

The order of writes.  Files are written under a temporary name, flushed to the disk, renamed, and their folder is
flushed; only then does one SQLite transaction name them.  What no transaction names is not there: the next run
sweeps it away.  What a transaction has stopped naming is deleted after it.

    1  inbox file -> kept/ (hashed while copied, refused if it changed meanwhile)
    2  kept file  -> new archive parts
    3  transaction A: file, parts, tags; then the inbox file and the replaced parts are deleted
    4  archive -> findings of the changed points -> links, verdicts (pure functions of kept files and register)
    5  transaction B: events, changes, digest
    6  reports, then a mark that they are written; digest delivered, then a mark that it is

Every step may be repeated.  A step that was cut off is repeated as a whole by the next run, from 1.

Why the answer does not depend on the order of arrival.  Each instant of a tag keeps the row of the file that comes
last in the order in which a scan of one folder would read them (by name; among files of one name, by arrival), and
within a file its last line.  That is a maximum, so repeats and order do not matter.  Findings are a pure function
of the archive and the register, remembered by the hash of what went in; a long record is a fold over its fortnights
(``pipeline/windows.py``), of which the newest steps are remembered, so that a new day costs one window and a look at
the hours of all.  Only names of events and the nights in which they were seen have a history.
"""
