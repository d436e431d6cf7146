-- Signals are watches and calls, points beyond a limit and runs: none has a p-value of its own.

alter table signal drop column p_value;
alter table signal drop column adjusted_p;
