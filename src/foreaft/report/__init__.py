"""What the user holds in his hands: pictures, the briefing, the sticker, and the words on them.

Nothing here computes physics; every number comes from the answer of a job.
"""
