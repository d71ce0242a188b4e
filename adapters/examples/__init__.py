"""Feed descriptions of invented senders, one or more for each format: `climbout feed example NAME` prints one."""
