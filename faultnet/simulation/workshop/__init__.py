"""The workshop: a virtual car worked on by a policy, with its bill; and a history of closed cases."""
