-- A text of the rules file by name, null where the file leaves it out; any other name is an error.
create or replace macro text_of(wanted) as
if(wanted in ('firmware_standard'), (select value from setting_text where name = wanted),
    error('There is no text named ''' || wanted || '''.'));
