"""What a backup place says of itself to somebody who has nothing but the disk."""

README = """BACKUPS OF A QUIREWELL STUDIO

This folder was written by quirewell (quirewell studio keep). It can be read without it.

quirewell-backups.json   the mark of this place: whose backups these are. Leave it here: without
                         it nothing is written any more.
originals/ab/HASH        every picture once, byte for byte. Its name is its SHA-256; the folder is
                         the first two signs of it. The journal says which picture it is, and of
                         which kind (kind capture.added, fields filename and media of its body).
backups/DAY-TIME/        one backup each; the name is the day and the time in UTC.
  studio.db              a whole copy of the database (SQLite 3). Table "journal" holds the truth,
                         an entry a row: seq, stream, kind, body (JSON), at (UTC), actor, hash.
  manifest.json          when it was made, the SHA-256 of studio.db, the journal's last hash
                         ("head"), and every original that belongs to it ("files").
read-again.json          when each picture was last read again and its hash found right.

Names that begin with a dot and end in .part are what a backup left that was cut short. They
count for nothing and may be deleted.

WITH QUIREWELL
  quirewell studio restore THIS-FOLDER NEW-FOLDER
  quirewell studio restore THIS-FOLDER NEW-FOLDER --at 2031-04-02

WITHOUT IT
  1. Make a new folder. Copy backups/DAY-TIME/studio.db and the whole folder originals/ into it.
     That is a studio again.
  2. To check a picture:    sha256sum originals/ab/HASH      (prints HASH)
  3. To read the journal:   sqlite3 studio.db "select at, stream, kind, body from journal"

Copying this folder to another disk copies all backups. Deleting one folder under backups/ deletes
that backup only. Never delete or change anything under originals/: other backups need it.
"""
