"""What a person reads, in the person's language: catalogues of messages, dates and numbers.

The code and the templates hold the English message, which is its own key; `<language>.po` beside
this file holds the others. Nothing that is stored may be made of these words: the log keeps codes
and numbers. Begin with `language.speaking`, then `catalogue.gettext`.
"""
