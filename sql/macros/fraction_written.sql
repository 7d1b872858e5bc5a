-- A text with the signs of vulgar fractions written out: 7½ is 7 1/2.
create or replace temp macro fraction_written(t) as
replace(
    replace(
        replace(
            replace(
                replace(
                    replace(
                        replace(
                            replace(
                                replace(translate(t, '−' || chr(160), '- '), '½', ' 1/2'),
                                '⅓', ' 1/3'
                            ), '⅔', ' 2/3'
                        ), '¼', ' 1/4'
                    ), '¾', ' 3/4'
                ), '⅛', ' 1/8'
            ), '⅜', ' 3/8'
        ), '⅝', ' 5/8'
    ), '⅞', ' 7/8'
);
