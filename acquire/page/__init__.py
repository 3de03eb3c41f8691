"""A page for the phone or tablet that lies on the bed, served on request to who has its link.

Everything is behind a token in the path. What is asked and answered is JSON::

    GET  state    what is being entered, its stations in order and what stands there; or what may be begun
    GET  live     the recording under way, from its journal alone
    POST reading  {"run", "sent_as", "station_mm", "repeat", "words", "before", "age_s"}: one reading.
                  It is on disk when the answer comes. One that comes twice under the same name is
                  answered with what was stored; `before` is what the sender saw in its place, and
                  where something else stands there by now, nothing is stored and both are told.
    POST keep     {"run", "station_mm", "repeat"}: a reading in doubt is kept as it is
    POST begin    what is measured with what, as `waylog enter` takes it
    POST leave    {"run"}: stop here and go on later
    POST finish   {"run"}: the run becomes a traverse; what the other runs contradict in it is asked about
    POST mend     {"question"}: one of these questions is answered with yes

200 is done, 409 something else stands there (or another run is under way), 422 refused, with the reason,
503 not kept: the disk does not take it. Without the token everything is 403 and no word.

`desk` holds what is under way, `run` one entry, `live` follows a recording; `guard` lets in, `serving`
joins them to a server (extra `page`), and `files` is what the browser gets.
"""
