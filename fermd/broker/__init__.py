"""State, readings, alarms and events on their way to an MQTT 5 broker.

Publishing only: this room subscribes to nothing and hands nothing to the loop. Whatever a broker,
or anybody who has got hold of one, sends here is dropped; outputs are switched by the chamber's own
core, the page and the command line, which ask who asks.

    topics      where everything goes, with what promise (QoS), and for how long it is good
    payloads    the JSON of each message, from the copy in memory
    edition     which messages are due
    happenings  what has happened since the last look at the journal
    connection  one connection, from CONNECT to its end
    serving     the thread: connects, publishes, waits longer after each failure, for ever
"""
