create or replace temp macro month_name(m) as
list_extract(
    [
        'January', 'February', 'March', 'April', 'May', 'June', 'July', 'August', 'September', 'October',
        'November', 'December'
    ], m
);
