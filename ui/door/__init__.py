"""What stands between the network and the pages: who may ask (hosts, logins), and what an answer carries (headers).

The server library knows nothing of it; `running` puts :class:`door.door.Door` around the library's application.
"""
