"""Weather files as spreadsheets, loggers and services of many lands export them.

All values are invented; the shapes are those of exports in common use. What each must be
read as was written by hand: instants in UTC, °C, and the dew point where the file gives it
(where it gives humidity, the air at which the dew point is plain: 100 % is the air itself).
"""

from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class Read:
    """A file that is read, its first hours as (UTC hour, air °C, dew °C), and what is told."""

    text: str
    rows: list
    encoding: str = "utf-8"
    zone: str = "America/New_York"
    says: list = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A file that is refused, and what the one line must hold."""

    text: str
    says: list
    encoding: str = "utf-8"
    zone: str = "America/New_York"


# 19:00 and 20:00 in New York on 17 July 2013 are 23:00 and 00:00 UTC.
NEW_YORK = [("2013-07-17T23", 30.5, 20.1), ("2013-07-18T00", 29.0, 20.0)]
# The same clock in Berlin is 17:00 and 18:00 UTC.
BERLIN = MADRID = [("2013-07-17T17", 30.5, 20.1), ("2013-07-17T18", 29.0, 20.0)]
# In damp air: 100 % humid, so the dew point is the air.
FOG = [("2013-07-17T23", 20.0, 20.0), ("2013-07-18T00", 19.0, 19.0)]

EXPORTS = {
    "our own form": Read(
        text="time,temp_c,dew_c\n2013-07-17T19:00-04:00,30.5,20.1\n"
        "2013-07-17T20:00-04:00,29,20\n",
        rows=NEW_YORK,
    ),
    "spreadsheet, United States": Read(
        text="Date/Time,Temperature (F),Dew Point (F)\n7/17/2013 7:00 PM,86.9,68.18\n"
        "7/17/2013 8:00 PM,84.2,68\n",
        rows=NEW_YORK,
        says=["month first", "taken as the site's clock (America/New_York)", "air in °F from"],
    ),
    "spreadsheet, Germany": Read(
        text="Datum;Uhrzeit;Temperatur [°C];Taupunkt [°C]\n17.07.2013;19:00;30,5;20,1\n"
        "17.07.2013;20:00;29,0;20,0\n",
        encoding="cp1252",
        zone="Europe/Berlin",
        rows=BERLIN,
        says=["semicolon", "decimal commas", "Windows-1252", "day first"],
    ),
    "spreadsheet, Spain": Read(
        text="Fecha;Hora;Temperatura (ºC);Punto de rocío (ºC)\n17/07/2013;19 h;30,5;20,1\n"
        "17/07/2013;20 h;29;20\n",
        zone="Europe/Madrid",
        rows=MADRID,
        says=["day first", "dew point in °C from “Punto de rocío (ºC)”"],
    ),
    "spreadsheet, Mexico, 12-hour clock": Read(
        text="Fecha y hora,Temperatura °C,Humedad %\n"
        "17/07/2013 07:00 p. m.,20,100%\n"
        "17/07/2013 08:00 p. m.,19,100%\n",
        rows=FOG,
        says=["day first", "humidity in percent from “Humedad %”"],
    ),
    "spreadsheet, Turkey": Read(
        text="Tarih;Saat;Sıcaklık (°C);Bağıl Nem (%)\n18.07.2013;02:00;20,0;100\n"
        "18.07.2013;03:00;19,0;100\n",
        zone="Europe/Istanbul", encoding="cp1254", rows=FOG,
        says=["Windows-1254", "humidity in percent from “Bağıl Nem (%)”"],
    ),
    "service, Korea": Read(
        text="일시,기온(°C),습도(%)\n2013-07-18 08:00,20,100\n2013-07-18 09:00,19,100\n",
        zone="Asia/Seoul", encoding="cp949", rows=FOG, says=["“습도(%)”"],
    ),
    "dates in the first row of their day alone": Read(
        text="Datum;Uhrzeit;Temperatur °C;Taupunkt °C\n17.07.2013;19:00;30,5;20,1\n"
        ";20:00;29,0;20,0\n;21:00;28,0;19,0\n",
        zone="Europe/Berlin", rows=[*BERLIN, ("2013-07-17T19", 28.0, 19.0)],
        says=["dates as in the last row above that has one"],
    ),
    "analyses of the European centre": Read(
        text="valid_time,t2m,d2m\n2013-07-17 23:00:00,303.65,293.25\n"
        "2013-07-18 00:00:00,302.15,293.15\n",
        rows=NEW_YORK, says=["air in kelvin", "times on the clock UTC"],
    ),
    "spreadsheet, France": Read(
        text="Heure locale;Température (°C);Humidité (%)\n17/07/2013 19h00;20,0;100\n"
        "17/07/2013 20h00;19,0;100\n",
        encoding="latin-1",
        zone="Europe/Paris",
        rows=[("2013-07-17T17", 20.0, 20.0), ("2013-07-17T18", 19.0, 19.0)],
    ),
    "spreadsheet, Italy, points in the clock": Read(
        text="Data;Ora;Temperatura (°C);Umidità (%)\n17/07/2013;19.00;20;100\n"
        "17/07/2013;20.00;19;100\n",
        zone="Europe/Rome",
        rows=[("2013-07-17T17", 20.0, 20.0), ("2013-07-17T18", 19.0, 19.0)],
    ),
    "spreadsheet, Brazil": Read(
        text="Data e Hora;Temperatura do ar (°C);Umidade relativa (%)\n"
        "17/07/2013 19:00;20;100\n"
        "17/07/2013 20:00;19;100\n",
        zone="America/Sao_Paulo",
        rows=[("2013-07-17T22", 20.0, 20.0), ("2013-07-17T23", 19.0, 19.0)],
    ),
    "Unicode text of a spreadsheet: tabs in UTF-16": Read(
        text="time\ttemp_c\tdew_c\n2013-07-17 19:00\t30,5\t20,1\n2013-07-17 20:00\t29\t20\n",
        encoding="utf-16",
        rows=NEW_YORK,
        says=["tab", "UTF-16"],
    ),
    "UTF-16 without its mark": Read(
        text="time;temp_c;dew_c\n2013-07-17 19:00;30,5;20,1\n2013-07-17 20:00;29;20\n",
        encoding="utf-16-le",
        rows=NEW_YORK,
    ),
    "mark of UTF-8 in front, quotes around all": Read(
        text='\ufeff"Time","Temp (°C)","Dew Point (°C)"\r\n"2013-07-17 19:00","30.5","20.1"\r\n'
        '"2013-07-17 20:00","29.0","20.0"\r\n',
        rows=NEW_YORK,
    ),
    "decimal commas in quotes between commas": Read(
        text='time,temp_c,dew_c\n2013-07-17T19:00-04:00,"30,5","20,1"\n'
        '2013-07-17T20:00-04:00,"29,0","20,0"\n',
        rows=NEW_YORK,
        says=["decimal commas"],
    ),
    "logger with a title, offset in the header and serial numbers": Read(
        text='"Plot Title: Dock provider"\n"#","Date Time, GMT-04:00","Temp, °F (LGR S/N: 1)",'
        '"DewPt, °F (LGR S/N: 1)","Host Connected"\n1,07/17/13 07:00:00 PM,86.9,68.18,\n'
        "2,07/17/13 08:00:00 PM,84.2,68.0,Logged\n",
        rows=NEW_YORK,
        says=["times on the clock GMT-04:00"],
    ),
    "logger every five minutes": Read(
        text="Timestamp;t;RH\n"
        + "".join(
            f"2013-07-17 {18 + n // 12}:{n % 12 * 5:02};{20 + n / 12:.4f} °C;100\n"
            for n in range(37)
        ),
        # A straight rise of 1 K an hour: the mean around 19:00 and 20:00 is the value there.
        rows=[("2013-07-17T22", 20.0, 20.0), ("2013-07-17T23", 21.0, 21.0),
              ("2013-07-18T00", 22.0, 22.0), ("2013-07-18T01", 23.0, 23.0)],
        says=["37 rows 5 min apart, averaged over each hour"],
    ),
    "logger of a data station: names, units, kinds of value in rows": Read(
        text='"TOA5","yard","CR300"\n"TIMESTAMP","RECORD","AirTC_Avg","RH"\n'
        '"TS","RN","Deg C","%"\n"","","Avg","Smp"\n'
        '"2013-07-17 19:00:00",1,20.0,100\n"2013-07-17 20:00:00",2,19.0,100\n',
        rows=FOG,
    ),
    "logger app, one column per unit": Read(
        text="Timestamp for sample frequency every 60 min,Temperature_Fahrenheit,"
        "Relative_Humidity\n2013-07-17 19:00:00,68,100\n2013-07-17 20:00:00,66.2,100\n",
        rows=FOG,
    ),
    "logger, newest row first": Read(
        text="Simple Date,Outdoor Temperature(°F),Feels Like(°F),Dew Point(°F),"
        "Outdoor Humidity(%),Indoor Temperature(°F)\n2013-07-17 20:00:00,84.2,90,68,60,70\n"
        "2013-07-17 19:00:00,86.9,95,68.18,55,70\n",
        rows=NEW_YORK,
        says=["newest row first", "not used: Feels Like(°F), Indoor Temperature(°F)"],
    ),
    "logger with units in the cells": Read(
        text="Time,Temperature,Dew Point,Humidity\n2013-07-17 7:00 PM,86.9 °F,68.18 °F,54 %\n"
        "2013-07-17 8:00 PM,84.2 °F,68 °F,58 %\n",
        rows=NEW_YORK,
    ),
    "forecast service with its place above the table": Read(
        text="latitude,longitude,elevation,utc_offset_seconds,timezone,timezone_abbreviation\n"
        "40.78,-73.88,3.0,-14400,America/New_York,EDT\n\n"
        "time,temperature_2m (°C),dew_point_2m (°C),cloud_cover (%)\n"
        "2013-07-17T19:00,30.5,20.1,25\n2013-07-17T20:00,29.0,20.0,50\n",
        zone="Europe/Berlin",
        rows=NEW_YORK,
        says=["times on the clock -04:00"],
    ),
    "forecast service counting seconds": Read(
        text="dt,temp_c,humidity\n1374102000,20,100\n1374105600,19,100\n",
        rows=FOG,
        says=["counted from 1970 in s, UTC"],
    ),
    "service counting milliseconds, kelvin": Read(
        text="timestamp,temp,humidity\n1374102000000,293.15,100\n1374105600000,292.15,100\n",
        rows=FOG,
        says=["air in kelvin"],
    ),
    "airport reports of a university": Read(
        text="station,valid(UTC),tmpf,dwpf,relh\nLGA,2013-07-17 23:00,86.9,68.18,54.0\n"
        "LGA,2013-07-18 00:00,84.2,68.0,M\n",
        rows=NEW_YORK,
        says=["times on the clock UTC", "not used: station"],
    ),
    "German weather service": Read(
        text="STATIONS_ID;MESS_DATUM;QN_9;TT_TU;RF_TU;eor\n"
        "    433;2013071723;    3;  20.0; 100.0;eor\n"
        "    433;2013071800;    3;-999;-999;eor\n"
        "    433;2013071801;    3;  18.0; 100.0;eor\n",
        zone="Europe/Berlin",
        # The hour that is missing is bridged: half way between 20 and 18.
        rows=[("2013-07-17T23", 20.0, 20.0), ("2013-07-18T00", 19.0, 19.0),
              ("2013-07-18T01", 18.0, 18.0)],
        says=["times on the clock UTC", "2 cells such as -9999 taken as missing"],
    ),
    "open archive with columns for year to hour": Read(
        text="year,month,day,hour,temp_c,rhum\n2013,7,17,19,20.0,100\n2013,7,17,20,19.0,100\n",
        rows=FOG,
    ),
    "zone as an abbreviation in the cells": Read(
        text="Time,Temp (°C),RH\n17-Jul-2013 19:00 EDT,20,100\n17-Jul-2013 20:00 EDT,19,100\n",
        rows=FOG,
        says=["times on the clock EDT"],
    ),
    "zone in a column of its own": Read(
        text="date,time,tz,temp_c,dew_c\n2013-07-17,19:00,EDT,30.5,20.1\n"
        "2013-07-17,20:00,EDT,29,20\n",
        zone="Europe/Berlin",
        rows=NEW_YORK,
    ),
    "zone by its region in the header": Read(
        text="Timestamp (America/New_York),Temperature (°C),Dewpoint (°C)\n"
        "2013-07-17 19:00,30.5,20.1\n2013-07-17 20:00,29,20\n",
        zone="Europe/Berlin",
        rows=NEW_YORK,
    ),
    "month names, Spanish": Read(
        text="Fecha,temp_c,dew_c\n17-jul-2013 19:00,30.5,20.1\n17-jul-2013 20:00,29,20\n",
        rows=NEW_YORK,
    ),
    "month names, English, day after month": Read(
        text='Time,temp_c,dew_c\n"Jul 17, 2013 7:00 PM",30.5,20.1\n'
        '"Jul 17, 2013 8:00 PM",29,20\n',
        rows=NEW_YORK,
    ),
    "weekday before the date": Read(
        text="Time,temp_c,dew_c\n"
        "Wed 17 Jul 2013 19:00,30.5,20.1\nWed 17 Jul 2013 20:00,29,20\n",
        rows=NEW_YORK,
    ),
    "dates that only their order settles": Read(
        text="Date,Time,temp_c,dew_c\n08/07/2013,23:00,30.5,20.1\n09/07/2013,00:00,29,20\n",
        # As day first the two are neighbours; as month first a month apart.
        rows=[("2013-07-09T03", 30.5, 20.1), ("2013-07-09T04", 29.0, 20.0)],
        says=["day first"],
    ),
    "two digits for the year": Read(
        text="Date,Time,temp_c,dew_c\n7/17/13,19:00,30.5,20.1\n7/17/13,20:00,29,20\n",
        rows=NEW_YORK,
    ),
    "hours as numbers, the last one 24": Read(
        text="Date,Hour,temp_c,dew_c\n2013-07-17,23,30.5,20.1\n2013-07-17,24,29,20\n",
        rows=[("2013-07-18T03", 30.5, 20.1), ("2013-07-18T04", 29.0, 20.0)],
    ),
    "trailing commas and empty columns": Read(
        text="time,temp_c,dew_c,,\n2013-07-17T19:00-04:00,30.5,20.1,,\n"
        "2013-07-17T20:00-04:00,29,20,,,,\n,,,,\n",
        rows=NEW_YORK,
    ),
    "a row of means below": Read(
        text="time,temp_c,dew_c\n2013-07-17T19:00-04:00,30.5,20.1\n"
        "2013-07-17T20:00-04:00,29,20\nAverage,29.75,20.05\n",
        rows=NEW_YORK,
        says=["1 row below the table left out"],
    ),
    "a total in a column further on": Read(
        text="Time;Temp °C;Dew point °C;Rain\n17.07.2013 19:00;30,5;20,1;0\n"
        "17.07.2013 20:00;29;20;0\n;;;0\nSumme;59,5;40,1;0\n",
        rows=NEW_YORK,
        says=["2 rows below the table left out"],
    ),
    "header repeated where files were joined": Read(
        text="time,temp_c,dew_c\n2013-07-17T19:00-04:00,30.5,20.1\ntime,temp_c,dew_c\n"
        "2013-07-17T20:00-04:00,29,20\n",
        rows=NEW_YORK,
        says=["1 header met again"],
    ),
    "a row given twice": Read(
        text="time,temp_c,dew_c\n2013-07-17T19:00-04:00,30.5,20.1\n"
        "2013-07-17T19:00-04:00,30.5,20.1\n2013-07-17T20:00-04:00,29,20\n",
        rows=NEW_YORK,
        says=["1 row given twice"],
    ),
    "notes with a quoted line break and U+2028": Read(
        text='time,temp_c,dew_c,note\n2013-07-17T19:00-04:00,30.5,20.1,"two\nlines"\n'
        "2013-07-17T20:00-04:00,29,20,one\u2028line\n",
        rows=NEW_YORK,
        says=["not used: note"],
    ),
    "empty cells and words for missing": Read(
        text="time,temp_c,dew_c\n2013-07-17T19:00-04:00,30.5,20.1\n"
        "2013-07-17T20:00-04:00,NA,N/A\n2013-07-17T21:00-04:00,27.5,19.9\n",
        rows=[("2013-07-17T23", 30.5, 20.1), ("2013-07-18T00", 29.0, 20.0),
              ("2013-07-18T01", 27.5, 19.9)],
    ),
    "every three hours": Read(
        text="time,temp_c,dew_c\n"
        + "".join(f"2013-07-17T{3 * n:02}:00Z,{20 + 3 * n},10\n" for n in range(8)),
        # A straight rise of 1 K an hour stays one between the rows.
        rows=[(f"2013-07-17T{n:02}", 20.0 + n, 10.0) for n in range(22)],
        says=["Rows lie 3 h apart"],
    ),
    "the night clocks go back, told by order": Read(
        text="Time,temp_c,dew_c\n2013-11-03 00:00,10,5\n2013-11-03 01:00,11,5\n"
        "2013-11-03 01:00,12,5\n2013-11-03 02:00,13,5\n",
        rows=[("2013-11-03T04", 10.0, 5.0), ("2013-11-03T05", 11.0, 5.0),
              ("2013-11-03T06", 12.0, 5.0), ("2013-11-03T07", 13.0, 5.0)],
        says=["2 rows in the hour that comes twice, told apart by order"],
    ),
    "humidity as a fraction, and called so": Read(
        text="time,temp_c,humidity_frac\n2013-07-17T19:00-04:00,20,1.0\n"
        "2013-07-17T20:00-04:00,19,1.0\n",
        rows=FOG,
    ),
    "a foreman's word on the clock": Read(
        text="# time zone: UTC\ntime,temp_c,dew_c\n2013-07-17 23:00,30.5,20.1\n"
        "2013-07-18 00:00,29,20\n",
        rows=NEW_YORK,
        says=["times on the clock UTC"],
    ),
    "a foreman's word on the dates": Read(
        text="# dates: month first\ntime,temp_c,dew_c\n07/08/2013 19:00,30.5,20.1\n"
        "07/08/2013 20:00,29,20\n",
        rows=[("2013-07-08T23", 30.5, 20.1), ("2013-07-09T00", 29.0, 20.0)],
    ),
    "both units, agreeing": Read(
        text="time,temp_c,temp_f,dewpoint_c,dewpoint_f\n2013-07-17 19:00,30.5,86.9,20.1,68.2\n"
        "2013-07-17 20:00,29,84.2,20,68\n",
        rows=NEW_YORK,
    ),
    "saturation as gauges overshoot it": Read(
        text="time,temp_c,RH\n2013-07-17 19:00,20,103.2\n2013-07-17 20:00,19,100.4\n",
        rows=FOG,
    ),
    "spreadsheet, Netherlands": Read(
        text="Datum;Tijd;Temperatuur (°C);Dauwpunt (°C);Luchtvochtigheid (%)\n"
        "17-07-2013;19:00;30,5;20,1;54\n17-07-2013;20:00;29,0;20,0;58\n",
        encoding="cp1252",
        zone="Europe/Amsterdam",
        rows=BERLIN,
    ),
    "spreadsheet, Poland": Read(
        text="Data;Godzina;Temperatura [°C];Wilgotność [%]\n17.07.2013;19:00;20,0;100\n"
        "17.07.2013;20:00;19,0;100\n",
        zone="Europe/Warsaw", encoding="cp1250", says=["Windows-1250"],
        rows=[("2013-07-17T17", 20.0, 20.0), ("2013-07-17T18", 19.0, 19.0)],
    ),
    "spreadsheet, Czechia": Read(
        text="Datum;Čas;Teplota (°C);Vlhkost (%)\n17.7.2013;19:00;20,0;100\n"
        "17.7.2013;20:00;19,0;100\n",
        zone="Europe/Prague",
        rows=[("2013-07-17T17", 20.0, 20.0), ("2013-07-17T18", 19.0, 19.0)],
    ),
    "Brazilian weather institute": Read(
        text="DATA (YYYY-MM-DD);HORA (UTC);TEMPERATURA DO AR - BULBO SECO, HORARIA (°C);"
        "TEMPERATURA DO PONTO DE ORVALHO (°C);UMIDADE RELATIVA DO AR, HORARIA (%)\n"
        "2013-07-17;22:00;20,0;20,0;100\n2013-07-17;23:00;19,0;19,0;100\n",
        encoding="latin-1",
        zone="America/Sao_Paulo",
        rows=[("2013-07-17T22", 20.0, 20.0), ("2013-07-17T23", 19.0, 19.0)],
        says=["times on the clock UTC"],
    ),
    "weather station's text export, a and p for the half of the day": Read(
        text="Date\tTime\tTemp Out\tHi Temp\tOut Hum\tDew Pt.\n"
        "07/17/13\t 7:00p\t86.9\t87\t54\t68.2\n07/17/13\t 8:00p\t84.2\t85\t58\t68.0\n",
        rows=NEW_YORK,
        says=["month first", "not used: Hi Temp"],
    ),
    "weather station that stamps UTC in the name alone": Read(
        text="dateutc,tempf,dewptf,humidity\n2013-07-17 23:00,86.9,68.2,54\n"
        "2013-07-18 00:00,84.2,68,58\n",
        rows=NEW_YORK,
        says=["times on the clock utc"],
    ),
    "the land's clock without summer time, in words": Read(
        text="Date/Time (local standard time),temp_c,dew_c\n2013-07-17 18:00,30.5,20.1\n"
        "2013-07-17 19:00,29,20\n",
        rows=NEW_YORK,
        says=["times on the clock LST"],
    ),
    "Eastern Standard Time, all the year": Read(
        text="Time (Eastern Standard Time),temp_c,dew_c\n2013-07-17 18:00,30.5,20.1\n"
        "2013-07-17 19:00,29,20\n",
        zone="America/Chicago",
        rows=NEW_YORK,
        says=["times on the clock EST"],
    ),
    "universal time, French": Read(
        text="Date;Heure (TU);Température (°C);Point de rosée (°C)\n"
        "17/07/2013;17:00;30,5;20,1\n17/07/2013;18:00;29;20\n",
        zone="Europe/Paris",
        rows=BERLIN,
        says=["times on the clock TU"],
    ),
    "stamps without signs between": Read(
        text="time,temp_c,dew_c\n20130717T230000Z,30.5,20.1\n20130718T000000z,29,20\n",
        rows=NEW_YORK,
    ),
    "stamps with the hour alone": Read(
        text="time,temp_c,dew_c\n2013-07-17T19,30.5,20.1\n2013-07-17T20,29,20\n",
        rows=NEW_YORK,
    ),
    "dates as mail writes them": Read(
        text='time,temp_c,dew_c\n"Wed, 17 Jul 2013 23:00:00 GMT",30.5,20.1\n'
        '"Thu, 18 Jul 2013 00:00:00 GMT",29,20\n',
        rows=NEW_YORK,
    ),
    "reanalysis in kelvin, a dash for missing": Read(
        text="valid_time (UTC),t2m,d2m\n2013-07-17 23:00:00,303.65,293.25\n"
        "2013-07-18 00:00:00,302.15,—\n2013-07-18 01:00:00,302.15,293.05\n",
        rows=[("2013-07-17T23", 30.5, 20.1), ("2013-07-18T00", 29.0, 20.0),
              ("2013-07-18T01", 29.0, 19.9)],
        says=["dew point in kelvin"],
    ),
    # What leaves room is asked for.
    "spreadsheet, Japan": Read(
        text="年月日時,気温(℃),相対湿度(％)\n"
        "2013/7/17 19:00,20.0,100\n2013/7/17 20:00,19.0,100\n",
        encoding="cp932",
        zone="Asia/Tokyo",
        rows=[("2013-07-17T10", 20.0, 20.0), ("2013-07-17T11", 19.0, 19.0)],
        says=["Shift-JIS", "air in °C from “気温(℃)”"],
    ),
    "Sweden, which tells the air in °C alone": Read(
        text="Datum;Tid (UTC);Lufttemperatur;Kvalitet;Daggpunkt\n2013-07-17;23:00;30,5;G;20,1\n"
        "2013-07-18;00:00;29,0;G;20,0\n",
        rows=NEW_YORK,
        says=["air in °C from “Lufttemperatur”", "times on the clock UTC"],
    ),
    "AM and PM in a column of their own": Read(
        text="Date,Time,AM/PM,Temp (F),Dew Point (F)\n07/17/2013,7:00,PM,86.9,68.18\n"
        "07/17/2013,8:00,PM,84.2,68\n",
        rows=NEW_YORK,
        says=["month first"],
    ),
    "table of blanks": Read(
        text="date        time   temp_c  dew_c\n2013-07-17  19:00    30.5   20.1\n"
        "2013-07-17  20:00    29.0   20.0\n",
        rows=NEW_YORK,
        says=["parted by a blank"],
    ),
    "channels and units below the header": Read(
        text="Zeitstempel;Temperatur;Feuchte\n;Kanal 1;Kanal 1\n[dd.mm.yyyy hh:mm];[°C];[%rF]\n"
        "17.07.2013 19:00;20,0;100\n17.07.2013 20:00;19,0;100\n",
        rows=FOG,
        says=["humidity in percent from “Feuchte”"],
    ),
    "a sentence below the table": Read(
        text="Time,Temp (C),Dew (C)\n2013-07-17 19:00,30.5,20.1\n2013-07-17 20:00,29.0,20.0\n"
        "Max,30.5,20.1\nExported on 07/24/2013 10:15\n",
        rows=NEW_YORK,
        says=["2 rows below the table left out"],
    ),
    "American climate data, on standard time all the year": Read(
        text='"STATION","DATE","REPORT_TYPE","HourlyDewPointTemperature",'
        '"HourlyDryBulbTemperature"\n"725","2013-07-17T18:00:00","FM-15","68.18","86.9"\n'
        '"725","2013-07-17T19:00:00","FM-15","68","84.2"\n',
        rows=NEW_YORK,
        says=["times on the clock LST"],
    ),
    "a unit after a word, and points in a short form": Read(
        text="S.No.,Date & Time,Temp in °C,R.H. in %\n1,17-07-2013 19:00,20.0,100\n"
        "2,17-07-2013 20:00,19.0,100\n",
        rows=FOG,
        says=["air in °C from “Temp in °C”", "humidity in percent from “R.H. in %”"],
    ),
    "service with seconds of the epoch beside seconds of the zone": Read(
        text="dt,timezone,temp (°C),dew_point (°C)\n1374102000,-14400,30.5,20.1\n"
        "1374105600,-14400,29.0,20.0\n",
        rows=NEW_YORK,
        says=["times counted from 1970"],
    ),
    "spreadsheet, France, short forms": Read(
        text="Date;Heure;T. ext. (°C);HR ext. (%)\n17/07/2013;19:00;20,0;100\n"
        "17/07/2013;20:00;19,0;100\n",
        rows=FOG,
        says=["air in °C from “T. ext. (°C)”"],
    ),
    "clock named in a sentence above, German": Read(
        text="Messstation Dach\nZeitangaben in UTC\nDatum;Zeit;Temperatur (°C);Taupunkt (°C)\n"
        "17.07.2013;17:00;30,5;20,1\n17.07.2013;18:00;29,0;20,0\n",
        zone="Europe/Berlin",
        rows=BERLIN,
        says=["UTC"],
    ),
    "clock named in a sentence below": Read(
        text="Time,Temp (C),Dew (C)\n2013-07-17 23:00,30.5,20.1\n2013-07-18 00:00,29,20\n\n"
        "All times are GMT\n",
        rows=NEW_YORK,
        says=["GMT"],
    ),
    "clock of a country in a remark, on winter time all the year": Read(
        text="# Alle Zeiten in MEZ\nZeit;Temp °C;Taupunkt °C\n17.07.2013 18:00;30,5;20,1\n"
        "17.07.2013 19:00;29,0;20,0\n",
        zone="Europe/Berlin",
        rows=BERLIN,
        says=["MEZ"],
    ),
    "the same hours on two clocks": Read(
        text="time_local,time_utc,temp_c,dew_c\n2013-07-17 16:00,2013-07-17 23:00,30.5,20.1\n"
        "2013-07-17 17:00,2013-07-18 00:00,29,20\n",
        rows=NEW_YORK,
    ),
    "two stations, one below the other": Asked(
        text="station,time,temp_c,dew_c\nLGA,2013-07-17T23:00Z,30.5,20.1\n"
        "JFK,2013-07-18T00:00Z,29,20\n",
        says=["station = 'JFK'", "rows of 2 stations", "keep the rows of one station"],
    ),
    "day and month that could be either": Asked(
        text="time,temp_c,dew_c\n07/08/2013 19:00,30.5,20.1\n07/08/2013 20:00,29,20\n",
        says=["w.csv:2:", "day and month cannot be told apart", "# dates: day first"],
    ),
    "no unit, and two that fit": Asked(
        text="time,Temperature,RH\n2013-07-17 19:00,30,50\n2013-07-17 20:00,29,50\n",
        says=["the unit of 'Temperature' is not given", "temp_c or temp_f"],
    ),
    "archive whose columns name no unit": Asked(
        text="year,month,day,hour,temp,temp_source,rhum,rhum_source\n"
        "2013,7,17,19,20.0,metar,100,metar\n",
        says=["the unit of 'temp' is not given"],
    ),
    "12-hour clock without AM and PM": Asked(
        text="time,temp_c,dew_c\n2013-07-17 11:00,30,20\n2013-07-17 12:00,30,20\n"
        "2013-07-17 1:00,30,20\n2013-07-17 2:00,30,20\n",
        says=["w.csv:4:", "12-hour clock without AM or PM"],
    ),
    "a spreadsheet's day numbers": Asked(
        text="time,temp_c,dew_c\n41472.7917,30.5,20.1\n41472.8333,29,20\n",
        says=["a spreadsheet's day number", "format that column"],
    ),
    "the doubled hour given once": Asked(
        text="time,temp_c,dew_c\n2013-11-03 00:00,10,5\n2013-11-03 01:00,11,5\n"
        "2013-11-03 02:00,13,5\n",
        says=["w.csv:3:", "comes twice", "# time zone: UTC"],
    ),
    "an hour the site's clock skips": Asked(
        text="time,temp_c,dew_c\n2013-03-10 01:00,5,0\n2013-03-10 02:00,5,0\n"
        "2013-03-10 03:00,5,0\n",
        says=["w.csv:3:", "clocks go forward over this time"],
    ),
    "an abbreviation several lands share": Asked(
        text="time,temp_c,dew_c\n2013-07-17 19:00 IST,30,20\n2013-07-17 20:00 IST,29,20\n",
        says=["'IST' is no clock that means one thing only"],
    ),
    "one row a day": Asked(
        text="time,temp_c,dew_c\n2013-07-17T12:00Z,30,20\n2013-07-18T12:00Z,30,20\n"
        "2013-07-19T12:00Z,30,20\n",
        says=["rows lie 24 h apart"],
    ),
    "dates without a clock": Asked(
        text="Date,Temp (°C),Humidity (%)\n17.07.2013,30,50\n18.07.2013,29,50\n",
        says=["w.csv:2:", "a date without a time of day"],
    ),
    "decimal commas bare between commas": Asked(
        text="time,temp_c,dew_c\n2013-07-17T19:00-04:00,30,5,20,1\n",
        says=["w.csv:2:", "5 cells where the header has 3"],
    ),
    "one date missing among those of every row": Asked(
        text="Date;Heure;Temp (°C);Rosée (°C)\n17/07/2013;19:00;30;20\n;20:00;29;20\n",
        zone="Europe/Paris", says=["w.csv:3:", "not a date and time"],
    ),
    "hours by their ends": Asked(
        text="Hour Ending,Temp (F),RH (%)\n2013-07-17 19:00,86,50\n", says=["take 30 min off"],
    ),
    "hours by their ends beside a date": Asked(
        text="Date,HE,Temp (F),RH (%)\n07/17/2013,19,86,50\n", says=["when an hour ends"],
    ),
    "two clocks named in remarks": Asked(
        text="Time zone: America/New_York\nTimes are UTC\nTime,Temp (C),Dew (C)\n"
        "2013-07-17 23:00,30.5,20.1\n2013-07-18 00:00,29,20\n",
        says=["America/New_York or UTC", "# time zone"],
    ),
    "two gauges of the outdoor air": Asked(
        text="time,North temp air (°C),Air temp (°C),Temperature (°C),RH\n"
        "2013-07-17 19:00,30,31,31,50\n",
        says=["the header has both"],
    ),
    "only the room's own air": Asked(
        text="Time,Indoor Temperature (°F),Humidity (%)\n2013-07-17 19:00,70,50\n",
        says=["no column temp_c or temp_f"],
    ),
    "AM and PM in some rows": Asked(
        text="time,temp_c,dew_c\n2013-07-17 7:00 PM,30,20\n2013-07-17 8:00,29,20\n",
        says=["w.csv:3:", "AM or PM is missing"],
    ),
    "offsets in some rows": Asked(
        text="time,temp_c,dew_c\n2013-07-17T19:00-04:00,30,20\n2013-07-17T20:00,29,20\n",
        says=["w.csv:3:", "without its offset"],
    ),
    "a workbook renamed": Asked(
        text="PK\x03\x04" + "\x00" * 40, says=["a workbook or zip archive, not a CSV file"]
    ),
}  # fmt: skip
