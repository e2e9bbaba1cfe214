"""Messages to people: what is told to whom, when, in which words, and how it gets there.

Read in this order: `urgency.py` (how soon a person must know), `item.py` (one thing to tell),
`intake.py` (what is looked at), `desk.py` (pure: which alarms have been told, and what to tell
next), `box.py` (pure: what waits for one recipient), `text.py` (the words), `keeping.py` (what
survives a restart), `sending.py` (to an address, in a process of its own, or to a command),
`post.py` (puts them together, in a thread).
"""
