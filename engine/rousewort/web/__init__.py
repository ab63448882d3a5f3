"""The bench pages: a small local web application over the ledger, made for a phone in one hand. No scripts, no requests
to anywhere else. `make_app` builds it; pages.py has the pages, guard.py who may see them."""
