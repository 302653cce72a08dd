/* The inspection sheet, part by part. */
#include "report/sheet/sheet.h"

#include <stdlib.h>
#include <string.h>

static spw_status read_files(spw_sheet *sheet, spw_error *error) {
    const spw_sheet_facts *facts = sheet->facts;
    spw_status status = SPW_OK;
    if (facts->plan_file != NULL) {
        status = spw_planned_read(facts->plan_file, &sheet->adapter, error);
        if (status != SPW_OK)
            spw_error_file(error, facts->plan_file);
        sheet->adapter_read = true;
    } else {
        sheet->adapter = spw_planned_of(facts->plan);
    }
    if (status == SPW_OK && facts->verified_file != NULL) {
        status = spw_verified_read(facts->verified_file, &sheet->verified, error);
        if (status != SPW_OK)
            spw_error_file(error, facts->verified_file);
    }
    if (status == SPW_OK && facts->earlier_file != NULL) {
        status = spw_earlier_read(facts->earlier_file, facts->sources[0].channel->name,
                                  &sheet->earlier, error);
        if (status != SPW_OK)
            spw_error_file(error, facts->earlier_file);
    }
    return status;
}

static void put_title(spw_sheet *sheet) {
    const spw_inspection *who = &sheet->facts->bench->inspection;
    spw_sheet_put(sheet, "<title>Inspection sheet");
    if (who->robot[0] != '\0') {
        spw_sheet_put(sheet, ": ");
        spw_sheet_text(sheet, who->robot);
    }
    if (who->port[0] != '\0') {
        spw_sheet_put(sheet, ", port ");
        spw_sheet_text(sheet, who->port);
    }
    spw_sheet_put(sheet, "</title>\n");
}

static void put_page(spw_sheet *sheet) {
    spw_sheet_put(sheet, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    spw_sheet_style(sheet->out);
    spw_sheet_put(sheet,
                  "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n");
    put_title(sheet);
    bool more = sheet->verified.known || sheet->earlier.known || sheet->facts->n > 1;
    spw_sheet_printf(sheet, "</head>\n<body>\n<main%s>\n", more ? " class=\"dense\"" : "");
    spw_sheet_head(sheet);
    spw_sheet_reach(sheet);
    spw_sheet_changes(sheet);
    spw_sheet_signal(sheet);
    spw_sheet_adapter(sheet);
    spw_sheet_joint(sheet);
    spw_sheet_figures(sheet);
    spw_sheet_record(sheet);
    spw_sheet_close(sheet);
    spw_sheet_put(sheet, "</main>\n</body>\n</html>\n");
}

spw_status spw_report_sheet(const spw_sheet_facts *facts, spw_text *out, spw_error *error) {
    if (facts->n == 0)
        return spw_error_set(error, SPW_ERR_ARGUMENT, "a sheet needs a capture");
    spw_sheet sheet = {.out = out, .facts = facts, .adapter = spw_planned_none()};
    spw_status status = read_files(&sheet, error);
    if (status == SPW_OK) {
        put_page(&sheet);
        status = spw_text_status(out);
        if (status != SPW_OK)
            (void)spw_error_set(error, status, "out of memory");
    }
    spw_earlier_free(&sheet.earlier);
    spw_verified_free(&sheet.verified);
    return status;
}
