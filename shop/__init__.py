"""The ground floor: settings, staff and roles, money, documents, the timeline, and the sockets the wings plug into."""
