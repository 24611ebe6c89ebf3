"""One paired tablet or phone on the local network, over TLS; without it only loopback is served.

authority   the certificate authority of this data folder and its short-lived leaf
pairing     the code that is shown, and the one device that is paired
addresses   which address of this machine may be shared
listener    the second server, which speaks TLS on that address
gate        who asks (player, paired device, stranger), and whether they may
"""
