"""The handbook: the knowledge base as Markdown and JSON, which mkdocs turns into pages. Decides nothing about seed."""
