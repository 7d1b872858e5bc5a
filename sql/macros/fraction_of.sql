-- A whole number with a vulgar fraction, such as 7 1/2 or 7½ or ½, else null. A fraction of digits needs its
-- whole number: 1/2 alone may be a day or a range.
create or replace temp macro fraction_of(t) as
list_transform(
    [
        regexp_extract(
            trim(fraction_written(t)),
            '^([+-]?)\s*(?:(\d+)\s+)?(\d{1,2})/(2|3|4|8|16)$',
            ['sign', 'whole', 'above', 'below']
        )
    ],
    lambda p: case
        when
            p.above <> ''
            and p.above::integer < p.below::integer
            and (p.whole <> '' or regexp_matches(t, '[½⅓⅔¼¾⅛⅜⅝⅞]'))
            then
                if(p.sign = '-', -1, 1)
                * (coalesce(try_cast(p.whole as double), 0) + p.above::double / p.below::double)
    end
)[1];
