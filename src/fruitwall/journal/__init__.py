"""What happened: storage of the yard and its history.

`journal.location.choose_database` says where the database is, `journal.opening.open_journal` opens it and gives a
`Journal`; what comes out of it are the plain records of `journal.entries`. Importing this package or those records
loads no database library.
"""
