"""What every result says in the same words.

Begin with `support.support_words` and `cautions.CAUTIONS`.
"""
