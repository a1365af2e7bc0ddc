"""Sweep file -> cases -> workers -> one result file a case -> a table and a page.

read     the sweep file, with all its faults at once
cases    every combination as a scenario of its own
work     one case -> one row; the only part that runs in a worker
pools    workers: processes of this computer, or those of a Dask cluster
run      hands out the cases that have no result yet, and outlives its workers
store    the run's directory
table    the rows as CSV and Parquet
page     the summary
"""
