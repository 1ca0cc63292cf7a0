"""The command line: parse, call, show. The only room that prints or exits."""
